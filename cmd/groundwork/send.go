package main

import (
	"errors"
	"fmt"
	"os"
	"time"
	"unicode/utf8"

	"groundwork/internal/book"
	"groundwork/internal/job"
	"groundwork/internal/kit"
)

// bookFlags say how the bench book looks, and what it tells of its maker.
type bookFlags struct {
	Paper       string `help:"Paper of the bench book and the labels: a4 or letter." enum:"a4,letter" default:"a4"`
	Maker       string `help:"Who made the piece, for the bench book; the shop's name when left out."`
	Notes       string `help:"A text file with words of your own for the bench book." type:"existingfile" placeholder:"FILE"`
	NoTemplates bool   `help:"Leave the templates at full size out of the bench book; they lie in the job folder all the same."`
	Licence     string `help:"Under which the files may be used, for the bench book; a line to write on when left out." placeholder:"WORDS"`
}

// book sets how the book of a job is written.
func (f bookFlags) book(o *job.Options, inch bool) error {
	o.Maker, o.Licence, o.Book.Inch, o.Book.NoTemplates = f.Maker, f.Licence, inch, f.NoTemplates
	if f.Paper == "letter" {
		o.Book.Paper = book.Letter
	}
	if f.Notes == "" {
		return nil
	}
	st, err := os.Stat(f.Notes)
	if err != nil {
		return err
	}
	const most = 100_000 // bytes: some thirty pages
	if st.Size() > most {
		return fmt.Errorf("%s has %d bytes, and the bench book takes notes of %d; shorten it", f.Notes, st.Size(), most)
	}
	text, err := os.ReadFile(f.Notes)
	if err != nil {
		return err
	}
	if !utf8.Valid(text) {
		return fmt.Errorf("%s is no text in UTF-8; save it as such", f.Notes)
	}
	o.Notes = string(text)
	return nil
}

// kitFlags say what is sent, and for how many the price is worked out.
type kitFlags struct {
	Send  string `help:"What is sent: finished parts that the buyer screws together (ready), cores and cut veneer that the buyer builds (cores), or cut veneer and print files (leaves)." enum:"ready,cores,leaves" default:"ready"`
	Batch []int  `help:"Numbers of kits made at a time, to be priced, as in 1,5,20." placeholder:"N"`
}

func (f kitFlags) kit() (o kit.Options, err error) {
	for _, n := range f.Batch {
		if n < 1 || n > 10_000 {
			return o, fmt.Errorf("--batch %d: give numbers of kits from 1 to 10000", n)
		}
	}
	if len(f.Batch) > 20 {
		return o, errors.New("--batch: give 20 numbers at most")
	}
	return kit.Options{Split: kit.Split(f.Send), Batches: f.Batch}, nil
}

// day is a date of the calendar; the zero time if none is given. Its hours are
// the shop's own, wherever the program runs.
func day(text string) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	t, err := time.Parse(time.DateOnly, text)
	if err != nil {
		return t, fmt.Errorf("--start %s is no date; write year, month and day as in 2027-01-11", text)
	}
	return t, nil
}
