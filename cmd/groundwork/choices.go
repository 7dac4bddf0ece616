package main

import (
	"cmp"
	"errors"
	"fmt"
	"os"

	"groundwork/internal/job"
	"groundwork/internal/marks"
	"groundwork/internal/plan"
)

// choiceFlags are what may be chosen of a job. What is not given is as the marks
// of the piece have it, and as usual if they have nothing.
type choiceFlags struct {
	Start       string `help:"Day on which work begins, as in 2027-01-11. Without it the calendar counts days, from a Monday." placeholder:"DATE"`
	NoCoupons   bool   `help:"Leave the fit coupons out: this shop has measured its own."`
	Send        string `help:"What is sent: finished parts that the buyer screws together (ready), cores and cut veneer that the buyer builds (cores), or cut veneer and print files (leaves). Usually ready." enum:",ready,cores,leaves" default:"" placeholder:"WHAT"`
	Batch       []int  `help:"Numbers of kits made at a time, to be priced, as in 1,5,20." placeholder:"N"`
	Paper       string `help:"Paper of the bench book and the labels: a4 or letter. Usually a4." enum:",a4,letter" default:"" placeholder:"PAPER"`
	Maker       string `help:"Who made the piece, for the bench book; the shop's name when left out."`
	Notes       string `help:"A text file with words of your own for the bench book." type:"existingfile" placeholder:"FILE"`
	NoTemplates bool   `help:"Leave the templates at full size out of the bench book; they lie in the job folder all the same."`
	Licence     string `help:"Under which the files may be used, for the bench book; a line to write on when left out." placeholder:"WORDS"`
}

// choose puts what is given, and for what is not what stands in the marks, into
// the options of the plan and of the job folder.
func (f choiceFlags) choose(m marks.File, inch bool, o *plan.Options, w *job.Options) error {
	k, b := m.Making, m.Book
	k.Start, k.Send = cmp.Or(f.Start, k.Start), cmp.Or(f.Send, k.Send)
	if f.NoCoupons {
		k.Coupons = marks.Measured
	}
	if len(f.Batch) > 0 {
		k.Batches = f.Batch
	}
	b.Paper, b.Maker, b.Licence = cmp.Or(f.Paper, b.Paper), cmp.Or(f.Maker, b.Maker), cmp.Or(f.Licence, b.Licence)
	if f.NoTemplates {
		b.Templates = marks.Without
	}
	b.Inch = b.Inch || inch
	if f.Notes != "" {
		var err error
		if b.Notes, err = readNotes(f.Notes); err != nil {
			return err
		}
	}
	err := job.Chosen(k, b, o, w)
	if u := (*marks.Unfit)(nil); errors.As(err, &u) { // the marks were found right when they were read
		flag := u.Key
		if flag == "batches" {
			flag = "batch"
		}
		return fmt.Errorf("--%s: %w", flag, u)
	}
	return err
}

func readNotes(name string) (string, error) {
	st, err := os.Stat(name)
	if err != nil {
		return "", err
	}
	if st.Size() > marks.MostNotes {
		return "", fmt.Errorf("%s has %d bytes, and the bench book takes notes of %d; shorten it", name, st.Size(), marks.MostNotes)
	}
	text, err := os.ReadFile(name)
	return string(text), err
}
