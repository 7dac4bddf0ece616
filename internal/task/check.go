package task

import (
	"context"
	"encoding/json"
	"fmt"

	"groundwork/internal/core"
	"groundwork/internal/finding"
	"groundwork/internal/line"
	"groundwork/internal/marks"
	"groundwork/internal/piece"
	"groundwork/internal/plan"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
)

// CheckKind is the kind of a check of a piece with how it bears its loads.
const CheckKind = "check"

// What the files of a check are called in a task and in its findings, wherever
// they lie at the maker's: the same files are then the same task.
const (
	PieceFile = "piece"
	ShopFile  = "shop"
	MarksFile = "marks"
)

// Check is what is checked: the arguments of a task.
type Check struct {
	Program string            `json:"program"` // as of line.Program
	Name    string            `json:"name"`    // of the piece, for who watches
	Piece   []byte            `json:"piece"`   // the files as they are written
	Shop    []byte            `json:"shop"`
	Marks   []byte            `json:"marks,omitempty"`
	Solids  map[string][]byte `json:"solids,omitempty"` // that the piece names
	Set     map[string]string `json:"set,omitempty"`    // parameters of another value
	Bare    bool              `json:"bare,omitempty"`   // what would help where something fails is not looked for
}

// Task is the check as a task.
func (c Check) Task() (line.Task, error) { return line.TaskOf(CheckKind, c) }

// CheckWords say what a task is: "heron-side-table, height 600 mm"; "" if it
// cannot be read.
func CheckWords(args []byte) string {
	var c struct {
		Name string
		Set  map[string]string
	}
	if json.Unmarshal(args, &c) != nil {
		return ""
	}
	return line.Said(c.Name, c.Set)
}

// Checked is what a maker is told of a piece.
type Checked struct {
	Title    string            `json:"title"`
	Members  int               `json:"members"`
	Segments int               `json:"segments"`
	Patterns int               `json:"patterns"`
	Findings []finding.Finding `json:"findings,omitempty"` // gravest first
	Loads    []Load            `json:"loads,omitempty"`    // nil unless asked for
	Held     *plan.Held        `json:"held,omitempty"`     // for who plans the same piece; nil as Loads is, or if it cannot be told
}

// Load is how a piece bears one load.
type Load struct {
	ID     string  `json:"id"`
	Solved bool    `json:"solved"`
	Moved  float64 `json:"moved"`        // mm, the greatest
	Body   string  `json:"body"`         // that moves so far
	Of     string  `json:"of,omitempty"` // what the margin is of; "" if there is none
	Margin float64 `json:"margin"`       // the least
	Judged bool    `json:"judged"`       // false: reported only
}

// CheckedOf is what there is to tell of a plan.
func CheckedOf(pl *plan.Plan) Checked {
	return Checked{
		Title: pl.Piece.Title, Members: len(pl.Piece.Members), Segments: len(pl.Cores.Segments), Patterns: len(pl.Patterns),
		Findings: pl.Findings, Loads: LoadsOf(pl), Held: pl.Held(),
	}
}

// LoadsOf is how the piece of a plan bears its loads, nil if that was not asked
// for.
func LoadsOf(pl *plan.Plan) []Load {
	r := pl.Strength
	if r == nil {
		return nil
	}
	out := []Load{}
	for _, c := range r.Cases {
		l := Load{ID: c.ID, Solved: c.Solved, Moved: c.Moved.Value, Body: c.Moved.Body, Margin: c.Margin, Judged: c.Judged}
		if v, ok := r.Verdict(c.Lowest); ok {
			l.Of = v.What + ", " + v.Subject
		}
		out = append(out, l)
	}
	return out
}

// Checker does checks.
type Checker struct {
	Kernel   func() (*solid.Kernel, error) // asked for when there is something to do
	Cache    plan.Cache                    // may be nil
	Progress func(stage string, done, total int)
	Parts    func(done, total int, what string) // of the strength stage, as plan.StrengthOptions has it
	Strained func([]plan.Strained)              // gets what no result holds; may be nil
}

// Do checks: from a Check to the JSON of a Checked, which depends on nothing
// else. The maker has seen that the files can be read before asking.
func (w Checker) Do(ctx context.Context, args []byte) ([]byte, error) {
	var c Check
	if err := read(CheckKind, args, &c, &c.Program); err != nil {
		return nil, err
	}
	pl, err := w.plan(ctx, c)
	if err == nil {
		err = ctx.Err() // some stages end early with what they have
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w", CheckKind, err)
	}
	if w.Strained != nil {
		w.Strained(pl.Strained)
	}
	out, err := json.Marshal(CheckedOf(pl))
	if err != nil {
		return nil, fmt.Errorf("%s: %w", CheckKind, err)
	}
	return out, nil
}

func (w Checker) plan(ctx context.Context, c Check) (*plan.Plan, error) {
	doc, err := piece.Parse(PieceFile, c.Piece)
	if err != nil {
		return nil, err
	}
	doc.Open = line.Carried(c.Solids)
	p, found, err := doc.Resolve(c.Set)
	if err != nil {
		return nil, err
	}
	s, err := shop.Parse(ShopFile, c.Shop)
	if err != nil {
		return nil, err
	}
	// Cores as a plan has them, so that what they weigh, and bear, is the same.
	o := plan.Options{
		Core:     core.Options{Labels: true, Solids: true},
		Strength: &plan.StrengthOptions{Remedies: !c.Bare, Progress: w.Parts}, Cache: w.Cache, Progress: w.Progress,
	}
	if c.Marks != nil {
		m, err := marks.Parse(MarksFile, c.Marks)
		if err != nil {
			return nil, err
		}
		m.Settle(MarksFile, &o.Sheet)
	}
	k, err := w.Kernel()
	if err != nil {
		return nil, err
	}
	pl, err := plan.Make(ctx, k, p, s, o)
	if err != nil {
		return nil, err
	}
	pl.Findings = finding.Sorted(append(pl.Findings, found...))
	return pl, nil
}

// ReadCheck reads what a check came to, and calls the files in its findings by
// the names that they have here.
func ReadCheck(result []byte, names map[string]string) (Checked, error) {
	var c Checked
	if err := json.Unmarshal(result, &c); err != nil {
		return Checked{}, fmt.Errorf("reading what a check came to: %w", err)
	}
	for i := range c.Findings {
		if name, ok := names[c.Findings[i].File]; ok {
			c.Findings[i].File = name
		}
	}
	return c, nil
}
