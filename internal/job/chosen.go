package job

import (
	"fmt"

	"groundwork/internal/book"
	"groundwork/internal/kit"
	"groundwork/internal/marks"
	"groundwork/internal/plan"
)

// Chosen puts what the maker chose of the job into the options of its plan and
// of its folder. The error is a *marks.Unfit.
func Chosen(m marks.Making, b marks.Book, p *plan.Options, o *Options) error {
	if err := m.Check(); err != nil {
		return fmt.Errorf("making: %w", err)
	}
	if err := b.Check(); err != nil {
		return fmt.Errorf("book: %w", err)
	}
	start, err := marks.Day(m.Start)
	if err != nil {
		return fmt.Errorf("making: %w", err)
	}
	p.Schedule.Start = start
	p.Fixture.NoCoupons = m.Coupons == marks.Measured
	p.Kit.Split, p.Kit.Batches = kit.Split(m.Send), m.Batches

	o.Maker, o.Notes, o.Licence = b.Maker, b.Notes, b.Licence
	o.Book.Paper = book.A4
	if b.Paper == marks.Letter {
		o.Book.Paper = book.Letter
	}
	o.Book.NoTemplates, o.Book.Inch = b.Templates == marks.Without, b.Inch
	return nil
}
