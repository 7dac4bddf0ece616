package folder

import (
	"errors"
	"fmt"
	"slices"
	"time"
)

// Step is one change in the history.
type Step struct {
	What    string // "Height: 540 mm to 600 mm"; "changed outside"
	Who     string
	When    time.Time
	Files   []string
	Outside bool // another program made it
}

// History is what can be undone and done again, each newest first: Undo[0] is
// what Undo would undo.
type History struct{ Undo, Redo []Step }

// entry is a step that stands, or that was undone, with what is to be done to
// turn it: a file that is After becomes Before.
type entry struct {
	step record
	turn []change
}

// replay gives, for a set of files, the steps that stand and those that were
// undone and can be done again, newest last.
//
// A step may change files beyond the set (a shop has many pieces). It is undone
// whole, except for files beyond the set that were changed again since: their
// part of the step stays.
func replay(records []record, set []string) (undo, redo []entry) {
	byID := func(es []entry, id int) int {
		for i := len(es) - 1; i >= 0; i-- {
			if es[i].step.ID == id {
				return i
			}
		}
		return -1
	}
	for _, r := range records {
		switch r.Did {
		case didSee:
			if r.touches(set) { // a file that is new, or not looked at before
				redo = slices.DeleteFunc(redo, func(e entry) bool { return overlap(e.turn, r.Files) })
			}
		case didStep:
			if !r.touches(set) {
				break
			}
			redo = nil
			// A gathered step may have come back to where it began.
			turn := slices.DeleteFunc(slices.Clone(r.Files), func(c change) bool { return c.Before == c.After })
			if touches(turn, set) {
				undo = append(undo, entry{r, turn})
			}
		case didUndo:
			s := r
			s.ID, s.Did = r.Of, didStep
			if i := byID(undo, r.Of); i >= 0 {
				s = undo[i].step
				undo[i].turn = less(undo[i].turn, r.Files)
				if !touches(undo[i].turn, set) {
					undo = slices.Delete(undo, i, i+1)
				}
			}
			if r.touches(set) {
				redo = append(redo, entry{s, slices.Clone(r.Files)})
			}
		case didRedo:
			s := r
			s.ID, s.Did = r.Of, didStep
			for i := len(redo) - 1; i >= 0; i-- { // its files may have been undone one by one
				if redo[i].step.ID != r.Of || !overlap(redo[i].turn, r.Files) {
					continue
				}
				s = redo[i].step
				redo[i].turn = less(redo[i].turn, r.Files)
				if !touches(redo[i].turn, set) {
					redo = slices.Delete(redo, i, i+1)
				}
			}
			if !r.touches(set) {
				break
			}
			if i := byID(undo, r.Of); i >= 0 {
				undo[i].turn = append(undo[i].turn, r.Files...)
			} else {
				undo = append(undo, entry{s, slices.Clone(r.Files)})
			}
		}
	}
	return undo, redo
}

func overlap(a, b []change) bool {
	return slices.ContainsFunc(a, func(x change) bool {
		return slices.ContainsFunc(b, func(y change) bool { return x.Name == y.Name })
	})
}

// less is a without the files of b.
func less(a, b []change) []change {
	return slices.DeleteFunc(a, func(x change) bool {
		return slices.ContainsFunc(b, func(y change) bool { return x.Name == y.Name })
	})
}

func touches(cs []change, set []string) bool { return record{Files: cs}.touches(set) }

func (e entry) told() Step {
	s := Step{What: e.step.What, Who: e.step.Who, When: e.step.When, Outside: e.step.Outside}
	for _, c := range e.turn {
		s.Files = append(s.Files, c.Name)
	}
	return s
}

// History tells what can be undone and redone of a set of files (a piece, its
// marks and its shop). It waits for nobody: a change that is being written
// counts as done, and one by another program that is not in the history yet
// is told as it will be.
func (f *Folder) History(files []string) (History, error) {
	if err := textNames(files); err != nil {
		return History{}, err
	}
	j, err := f.journal()
	if err != nil {
		return History{}, err
	}
	records := slices.Clip(j.finished())
	for _, name := range files {
		now, err := f.current(name)
		if err != nil {
			return History{}, err
		}
		if was, _, ok := head(records, name); ok && was != "" && was != now.Version {
			records = append(records, record{ID: j.last + 1, Did: didStep, Outside: true, What: outsideWhat, When: f.now(), Files: []change{{name, was, now.Version}}})
		}
	}
	undo, redo := replay(records, files)
	var h History
	for _, e := range slices.Backward(undo) {
		h.Undo = append(h.Undo, e.told())
	}
	for _, e := range slices.Backward(redo) {
		h.Redo = append(h.Redo, e.told())
	}
	return h, nil
}

// ErrNothing says that there is nothing to undo, or to do again.
var ErrNothing = errors.New("there is nothing to undo or to do again")

// Undo takes back the newest step that changed one of the files and returns
// it, with the files as they now stand (Version "" for one that is gone
// again). A change by another program is a step like any other.
func (f *Folder) Undo(files []string, who string) (Step, []State, error) {
	return f.turnBack(files, who, didUndo)
}

// Redo does again what Undo took back last, as long as nothing else was done
// to the files since.
func (f *Folder) Redo(files []string, who string) (Step, []State, error) {
	return f.turnBack(files, who, didRedo)
}

func (f *Folder) turnBack(files []string, who string, did deed) (step Step, out []State, err error) {
	if err := textNames(files); err != nil {
		return Step{}, nil, err
	}
	err = f.locked(func(j *journal) error {
		for _, name := range files {
			if _, j, err = f.reconcile(j, name); err != nil {
				return err
			}
		}
		entries, redo := replay(j.records, files)
		if did == didRedo {
			entries = redo
		}
		if len(entries) == 0 {
			return ErrNothing
		}
		e := entries[len(entries)-1]
		var turns []turn
		for _, c := range e.turn {
			var now State
			if now, j, err = f.reconcile(j, c.Name); err != nil {
				return err
			}
			if now.Version != c.After {
				if !slices.Contains(files, c.Name) {
					continue // beyond the set, and changed again since
				}
				return fmt.Errorf("undoing %q: the history of %s does not lead to what it is", e.step.What, c.Name)
			}
			to := State{Name: c.Name, Version: c.Before}
			if c.Before != "" {
				if to.Data, err = f.kept(c.Before); err != nil {
					return fmt.Errorf("undoing %q: %w", e.step.What, err)
				}
			}
			turns = append(turns, turn{now, to})
			out = append(out, to)
		}
		step = e.told()
		return f.carryOut(j, record{
			ID: j.last + 1, Did: did, Of: e.step.ID, Outside: false,
			What: e.step.What, Who: who, When: f.now(), Files: changes(turns),
		}, turns)
	})
	if err != nil {
		return Step{}, nil, err
	}
	return step, out, nil
}

func textNames(files []string) error {
	for _, name := range files {
		if err := textName(name); err != nil {
			return err
		}
	}
	return nil
}
