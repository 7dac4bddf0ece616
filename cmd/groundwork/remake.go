package main

import (
	"context"
	"fmt"
	"path/filepath"

	"groundwork/internal/core"
	"groundwork/internal/job"
	"groundwork/internal/piece"
	"groundwork/internal/plan"
	"groundwork/internal/remake"
	"groundwork/internal/sheet"
	"groundwork/internal/unit"
)

type remakeCommand struct {
	Job     string   `arg:"" help:"Folder of the job that is under way." type:"existingdir"`
	IDs     []string `arg:"" name:"id" help:"What is made again: segments, leaves, bands, plugs, dowels and other parts of fixtures, by the IDs on their labels."`
	Piece   string   `help:"The piece file that the job was planned from." required:"" type:"path" placeholder:"FILE"`
	Shop    string   `help:"The shop file that the job was planned with." required:"" type:"path" placeholder:"FILE"`
	Out     string   `help:"Folder to write to. It is written whole or not at all." required:"" type:"path" placeholder:"DIR"`
	Replace bool     `help:"Put the new parts in place of parts made again that are already in the folder."`
	Gone    []string `help:"Offcuts of the job that are used up or lost, as the text in the folder names them: walnut-1/offcut-2." placeholder:"OFFCUT"`
	Kerf    bool     `help:"Draw cut lines half a kerf outside, for a laser that does not allow for it itself."`
}

func (remakeCommand) Help() string {
	return "The piece is planned again with the parameters of the job. If it comes to another kit revision, because the piece file or the shop file was changed since, nothing is made and what differs is told: parts of two revisions do not fit one another. Leaves are cut from what the job leaves of their own sheet, as long as there is room.\n\nA part of a fixture is made once for each time that it is named. Nothing is written into the job's folder.\n\nFor example:  groundwork remake heron-job top.b top/face --piece heron-side-table.yaml --shop shop.yaml --out again"
}

func (c *remakeCommand) Run(ctx context.Context, out *output) error {
	if err := remake.Ready(c.Out, c.Replace); err != nil { // before the work, not after it
		return withReplace(err)
	}
	j, err := remake.Read(c.Job)
	if err != nil {
		return err
	}
	s, err := readShop(c.Shop)
	if err != nil {
		return err
	}
	set, err := c.parameters(j)
	if err != nil {
		return err
	}
	pl, k, err := makePlan(ctx, out, c.Piece, s, set, plan.Options{Core: core.Options{Labels: true, Solids: true}}, nil)
	if err != nil {
		return fmt.Errorf("the piece cannot be planned as the job was, with its parameters: %w", err)
	}
	defer k.Close()
	o := remake.Options{Gone: c.Gone, Sheet: sheet.Options{Compensate: c.Kerf}}
	r, err := remake.Make(ctx, k, j, pl, c.IDs, o)
	if err != nil {
		return err
	}
	showFindings(out, r.Findings)
	if n := stops(r.Findings); n > 0 {
		return alterError{n}
	}
	if err := r.Write(ctx, k, c.Out, job.Options{Replace: c.Replace}); err != nil {
		return withReplace(err)
	}
	showRemade(out, r)
	fmt.Fprintf(out.Out, "What to do is in %s\n", filepath.Join(c.Out, "remake.txt"))
	return nil
}

// parameters are those of the job that the piece still has: what it has lost
// shows in the revision.
func (c *remakeCommand) parameters(j *remake.Job) (map[string]string, error) {
	doc, err := piece.ParseFile(c.Piece)
	if err != nil {
		return nil, err
	}
	set := j.Parameters()
	for name := range set {
		if _, ok := doc.Parameters.Get(name); !ok {
			delete(set, name)
		}
	}
	return set, nil
}

// showRemade prints what was made again, in a few lines.
func showRemade(out *output, r *remake.Result) {
	p := r.Part
	fmt.Fprintf(out.Out, "%s, kit %s\n", p.Piece.Title, r.Job.Revision())
	var seconds, grams float64
	prints, loads := len(p.Printing.Prints)+len(p.FixturePrinting.Prints), 0
	for _, l := range p.Printing.Loads {
		seconds, grams, loads = seconds+l.Seconds, grams+l.Grams, loads+1
	}
	for _, l := range p.FixturePrinting.Loads {
		seconds, grams, loads = seconds+l.Seconds, grams+l.Grams, loads+1
	}
	if prints > 0 {
		fmt.Fprintf(out.Out, "  Print    %d part(s) on %d load(s), %s of filament, %s\n", prints, loads, unit.FormatMass(grams), unit.FormatDuration(seconds))
	}
	for _, l := range r.Laid {
		fmt.Fprintf(out.Out, "  Veneer   %s on %s, cut from %s\n", l.Pattern, l.Blank, l.From)
	}
	fmt.Fprintf(out.Out, "  Bench    about %s of your time\n", unit.FormatDuration(r.Hands()))
	fmt.Fprintf(out.Out, "  Money    %.2f %s\n", r.Cost, p.Shop.Currency)
}
