package remake

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"groundwork/internal/job"
)

// Job is what is known of a job folder that is under way: its plan.json.
type Job struct {
	Name     string // of its folder
	Document job.Document
}

// mostBytes is how large a plan.json may be. Those of the library have some 1 MB.
const mostBytes = 256 << 20

// Read reads plan.json in a job folder.
func Read(dir string) (*Job, error) {
	name := filepath.Join(dir, "plan.json")
	switch st, err := os.Stat(name); {
	case errors.Is(err, fs.ErrNotExist):
		return nil, fmt.Errorf("%s is no job folder: there is no plan.json in it", dir)
	case err != nil:
		return nil, fmt.Errorf("remake: %w", err)
	case st.Size() > mostBytes:
		return nil, fmt.Errorf("%s has %d MB, which no plan has", name, st.Size()>>20)
	}
	data, err := os.ReadFile(name)
	if err != nil {
		return nil, fmt.Errorf("remake: %w", err)
	}
	abs, err := filepath.Abs(dir)
	if err != nil {
		return nil, fmt.Errorf("remake: %w", err)
	}
	j, err := Parse(data)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	j.Name = filepath.Base(abs)
	return j, nil
}

// Parse reads a plan.json. It must be of this program's version and name a kit's
// revision, and what it tells of veneer must be possible.
func Parse(data []byte) (*Job, error) {
	j := &Job{}
	if err := json.Unmarshal(data, &j.Document); err != nil {
		return nil, fmt.Errorf("this is no plan: %w", err)
	}
	d := &j.Document
	switch {
	case d.SchemaVersion != job.Version:
		return nil, fmt.Errorf("its version is %d, and this program goes by version %d; plan the piece again", d.SchemaVersion, job.Version)
	case d.Kit == nil || d.Kit.Revision == "":
		return nil, errors.New("it tells no revision of the kit, so nobody can know what fits it; plan the piece again")
	}
	for _, s := range d.Sheets {
		if !(s.WidthMM > 0) || !(s.LengthMM > 0) {
			return nil, fmt.Errorf("the sheet %q has no size", s.ID)
		}
		for _, boxes := range [][]job.BoxDoc{s.Offcuts, s.Reserved} {
			for _, b := range boxes {
				if !ordered(b) {
					return nil, fmt.Errorf("the sheet %q has an area that is none: %v", s.ID, b)
				}
			}
		}
	}
	return j, nil
}

// ordered reports whether a box lies in the plane and has a size.
func ordered(b job.BoxDoc) bool {
	return len(b.Min) == 2 && len(b.Max) == 2 && b.Min[0] < b.Max[0] && b.Min[1] < b.Max[1]
}

// Revision is that of the job's kit.
func (j *Job) Revision() string { return j.Document.Kit.Revision }

// FaceDown says whether the job's cut sheets are drawn for veneer that lies face
// down.
func (j *Job) FaceDown() bool {
	return slices.ContainsFunc(j.Document.Patterns, func(p job.PatternDoc) bool { return p.Facing == "face down" })
}

// Parameters are the values that the piece's parameters had, as Resolve takes
// them.
func (j *Job) Parameters() map[string]string {
	units := map[string]string{"length": " mm", "angle": " deg", "mass": " g", "force": " N"}
	out := map[string]string{}
	for _, p := range j.Document.Piece.Parameters {
		out[p.Name] = strconv.FormatFloat(p.Value, 'f', -1, 64) + units[p.Kind]
	}
	return out
}

// sheetOf is the ID of the sheet that a pattern was laid on, "" if on none.
func (j *Job) sheetOf(pattern string) string {
	for _, p := range j.Document.Patterns {
		if p.ID != pattern {
			continue
		}
		for _, b := range j.Document.Panels {
			if b.ID == p.Panel {
				return b.Sheet
			}
		}
	}
	return ""
}

// printerOf is what a segment is printed on in the job.
func (j *Job) printerOf(segment string) string {
	for _, s := range j.Document.Segments {
		if s.ID == segment {
			return s.Printer
		}
	}
	return ""
}

// RevisionError says that the plan is no longer that of the job.
type RevisionError struct {
	Job, Plan string   // revisions
	Differs   []string // what is known to differ, in words
}

func (e *RevisionError) Error() string {
	what := "what differs does not show in plan.json"
	if len(e.Differs) > 0 {
		what = strings.Join(e.Differs, "; ")
	}
	return fmt.Sprintf("the job is kit %s, and the piece and the shop as they are now make kit %s: parts of the two do not fit one another, so nothing was made. What differs: %s. "+
		"Take the piece file and the shop file that the job was planned with; or plan the whole job again", e.Job, e.Plan, what)
}

// differences tells in words what two plans do not have in common: parameters,
// parts, holes, and hardware.
func differences(was, is *job.Document) []string {
	var out []string
	params := map[string]float64{}
	for _, p := range is.Piece.Parameters {
		params[p.Name] = p.Value
	}
	for _, p := range was.Piece.Parameters {
		if v, ok := params[p.Name]; !ok {
			out = append(out, fmt.Sprintf("the parameter %s is gone", p.Name))
		} else if !near(v, p.Value) {
			out = append(out, fmt.Sprintf("%s was %g and is %g", p.Name, p.Value, v))
		}
	}
	if was.Piece.Name != is.Piece.Name {
		out = append(out, fmt.Sprintf("the piece was %s and is %s", was.Piece.Name, is.Piece.Name))
	}
	type thing struct{ id, content string }
	say := func(what string, was, is []thing) {
		of := func(ts []thing) map[string]string {
			m := map[string]string{}
			for _, t := range ts {
				m[t.id] = t.content
			}
			return m
		}
		a, b := of(was), of(is)
		var gone, fresh, other []string
		for _, t := range was {
			if c, ok := b[t.id]; !ok {
				gone = append(gone, t.id)
			} else if c != t.content {
				other = append(other, t.id)
			}
		}
		for _, t := range is {
			if _, ok := a[t.id]; !ok {
				fresh = append(fresh, t.id)
			}
		}
		for _, g := range []struct {
			ids []string
			how string
		}{{other, "other than they were"}, {gone, "gone"}, {fresh, "new"}} {
			if len(g.ids) > 0 {
				out = append(out, fmt.Sprintf("%s %s: %s", what, g.how, few(g.ids)))
			}
		}
	}
	members := func(d *job.Document) (ts []thing) {
		for _, m := range d.Members {
			ts = append(ts, thing{m.ID, microns(m.Frame.Origin...)})
		}
		return ts
	}
	segments := func(d *job.Document) (ts []thing) {
		for _, s := range d.Segments {
			ts = append(ts, thing{s.ID, microns(slices.Concat(s.Bounds.Min, s.Bounds.Max)...) + fmt.Sprintf("%.0f", s.VolumeMM3*10)})
		}
		return ts
	}
	patterns := func(d *job.Document) (ts []thing) {
		for _, p := range d.Patterns {
			c := p.Veneer + fmt.Sprintf(" %.4f", p.Grain)
			for _, loop := range slices.Concat([][]job.Vec{p.Outline}, p.Holes) {
				for _, v := range loop {
					c += microns(v...)
				}
			}
			ts = append(ts, thing{p.ID, c})
		}
		return ts
	}
	hardware := func(d *job.Document) (ts []thing) {
		for _, l := range d.Bill {
			if l.Section == "hardware" {
				ts = append(ts, thing{l.Item, fmt.Sprint(l.Quantity)})
			}
		}
		return ts
	}
	bores := func(d *job.Document) (ts []thing) {
		for _, b := range d.Bores {
			ts = append(ts, thing{b.ID, fmt.Sprint(b)})
		}
		return ts
	}
	say("members", members(was), members(is))
	say("segments", segments(was), segments(is))
	say("leaves and bands", patterns(was), patterns(is))
	if len(out) == 0 { // else they differ, too, and that tells nothing more
		say("bores", bores(was), bores(is))
		say("hardware", hardware(was), hardware(is))
	}
	return out
}

// near reports whether two values that were rounded to millionths are one.
func near(a, b float64) bool { return math.Abs(a-b) <= 2e-6 }

// microns is numbers as the revision goes by them: in whole thousandths.
func microns(xs ...float64) string {
	var b strings.Builder
	for _, x := range xs {
		fmt.Fprintf(&b, " %d", int64(math.Round(x*1000)))
	}
	return b.String()
}

// few is the first of a list, and how many more there are.
func few(ids []string) string {
	const most = 6
	if len(ids) <= most {
		return strings.Join(ids, ", ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(ids[:most], ", "), len(ids)-most)
}
