package line

import (
	"math"
	"slices"

	"groundwork/internal/bill"
	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/plan"
)

// State says what became of a variant.
type State string

const (
	Made   State = "can be made"
	Alter  State = "must be altered" // a finding stops it, or the piece file does not allow these values
	Failed State = "not worked out"  // planning it ended by an error; Run's own word, never a task's result
)

// Row is what one variant takes. Its JSON has the same bytes for the same task
// and program; figures are rounded so far that noise in the last digits of a
// sum does not show.
type Row struct {
	State   State    `json:"state"`
	Error   string   `json:"error,omitempty"` // why there are no figures
	Figures *Figures `json:"figures,omitempty"`
	Bears   *Bears   `json:"bears,omitempty"` // nil unless asked for
	Stops   int      `json:"stops"`
	Warns   int      `json:"warnings"`
	Notes   int      `json:"notes"`
	Found   []Found  `json:"findings,omitempty"` // gravest first; those that say the same of several parts are one
}

// Figures are the numbers of a variant whose plan was made.
type Figures struct {
	Size     [3]float64 `json:"size_mm"` // box round the piece, as its file measures it
	Members  int        `json:"members"`
	Segments int        `json:"segments"`
	Loads    int        `json:"print_loads"`
	Patterns int        `json:"patterns"`
	Blanks   int        `json:"blanks"`
	Mass     float64    `json:"mass_g"`

	Hand      float64 `json:"hand_s"`
	Print     float64 `json:"print_s"`
	PrintLow  float64 `json:"print_low_s"`
	PrintHigh float64 `json:"print_high_s"`
	Laser     float64 `json:"laser_s"`

	Filament       float64 `json:"filament_g"` // with waste
	VeneerLaid     float64 `json:"veneer_laid_mm2"`
	VeneerConsumed float64 `json:"veneer_consumed_mm2"` // bought less offcuts worth keeping
	VeneerBought   float64 `json:"veneer_bought_mm2"`   // and offcuts of the shop's own

	Hardware float64 `json:"hardware_cost"`
	Material float64 `json:"material_cost"` // filament, veneer, hardware, consumables
	Cost     float64 `json:"cost"`

	Calendar *Calendar `json:"calendar,omitempty"` // nil if there is none
	Kit      *Kit      `json:"kit,omitempty"`
}

// Calendar is how long the job takes.
type Calendar struct {
	Days float64 `json:"days"` // from the first activity to the end of the last, nights and waits among them
}

// Kit is what is sent.
type Kit struct {
	Price   float64    `json:"price"` // of one, made alone
	Parcels int        `json:"parcels"`
	Largest [3]float64 `json:"largest_mm"` // outside of the largest parcel, longest edge first
	Mass    float64    `json:"mass_g"`     // of all
}

// Bears is how a variant bears its loads.
type Bears struct {
	Cases  int     `json:"cases"`
	Solved int     `json:"solved"`
	Fails  int     `json:"fails"`  // cases with a verdict that fails
	Margin float64 `json:"margin"` // the least that is judged; 1 is just enough; 0 where none is
	Of     string  `json:"of,omitempty"`
}

// Holds reports whether every case was solved and none fails.
func (b *Bears) Holds() bool { return b.Fails == 0 && b.Solved == b.Cases }

// Found is a finding.
type Found struct {
	Severity finding.Severity `json:"severity"`
	Stage    string           `json:"stage,omitempty"`
	Code     string           `json:"code,omitempty"`
	Subject  string           `json:"subject"`
	Also     []string         `json:"also,omitempty"` // subjects that it is said of likewise
	Message  string           `json:"message"`
	Remedy   string           `json:"remedy,omitempty"`
	Source   string           `json:"source,omitempty"`
}

// Gravest is the first finding in a sentence, with its remedy where it stops the
// variant, or the error; "" if there is neither.
func (r *Row) Gravest() string {
	switch {
	case len(r.Found) > 0 && r.Stops > 0 && r.Found[0].Remedy != "":
		return r.Found[0].Subject + ": " + r.Found[0].Message + "; " + r.Found[0].Remedy
	case len(r.Found) > 0:
		return r.Found[0].Subject + ": " + r.Found[0].Message
	case r.Error != "":
		return r.Error
	}
	return ""
}

// rowOf is the row of a plan.
func rowOf(pl *plan.Plan, found []finding.Finding) *Row {
	r := &Row{State: Made, Figures: figuresOf(pl), Bears: bearsOf(pl)}
	r.tell(found)
	if r.Stops > 0 {
		r.State = Alter
	}
	return r
}

func figuresOf(pl *plan.Plan) *Figures {
	bought, _, returned := pl.Sheets.Areas()
	b := pl.Bill
	size := overall(pl)
	f := &Figures{
		Size:    [3]float64{round(size.X, 0.01), round(size.Y, 0.01), round(size.Z, 0.01)},
		Members: len(pl.Piece.Members), Segments: len(pl.Cores.Segments), Loads: len(pl.Printing.Loads),
		Patterns: len(pl.Patterns), Blanks: len(pl.Sheets.Blanks), Mass: round(pl.Checks.Mass, 0.01),
		Hand: round(b.LabourSeconds, 0.1), Print: round(b.PrintSeconds, 0.1), PrintLow: round(b.PrintLow, 0.1),
		PrintHigh: round(b.PrintHigh, 0.1), Laser: round(b.LaserSeconds, 0.1),
		Filament: round(b.FilamentGrams, 0.01), VeneerLaid: round(b.VeneerArea, 1),
		VeneerConsumed: round(bought-returned, 1), VeneerBought: round(bought, 1),
		Cost: round(b.Cost, 0.0001),
	}
	for _, s := range b.CostBySection {
		switch s.Section {
		case bill.Hardware:
			f.Hardware = round(s.Cost, 0.0001)
			f.Material += s.Cost
		case bill.Filament, bill.Veneer, bill.Consumable:
			f.Material += s.Cost
		}
	}
	f.Material = round(f.Material, 0.0001)
	if s := pl.Schedule; s != nil && len(s.Activities) > 0 {
		f.Calendar = &Calendar{Days: round(s.Elapsed()/86400, 0.001)}
	}
	if k := pl.Kit; k != nil && len(k.Parcels) > 0 && len(k.Prices) > 0 {
		out := &Kit{Price: round(k.Prices[0].Each, 0.0001), Parcels: len(k.Parcels), Mass: round(k.Mass(), 0.01)}
		most := -1.0
		for _, p := range k.Parcels {
			if v := p.Outside.X * p.Outside.Y * p.Outside.Z; v > most {
				most = v
				edges := []float64{round(p.Outside.X, 0.01), round(p.Outside.Y, 0.01), round(p.Outside.Z, 0.01)}
				slices.Sort(edges)
				out.Largest = [3]float64{edges[2], edges[1], edges[0]}
			}
		}
		f.Kit = out
	}
	return f
}

// overall is the box round the piece as its file gives it.
func overall(pl *plan.Plan) geom.Vec3 {
	box := geom.EmptyBox3()
	const chord = 0.1 // mm
	for _, m := range pl.Piece.Members {
		for _, s := range m.Surfaces(chord) {
			for _, loop := range s.Region {
				for _, q := range loop {
					box = box.Add(m.Place.Point(s.Point(q)))
				}
			}
		}
	}
	return box.Size()
}

func bearsOf(pl *plan.Plan) *Bears {
	s := pl.Strength
	if s == nil {
		return nil
	}
	b := &Bears{Cases: len(s.Cases)}
	_, b.Fails = s.Failing()
	for _, c := range s.Cases {
		if c.Solved {
			b.Solved++
		}
	}
	if v, ok := s.Verdict(s.Lowest); ok {
		b.Margin, b.Of = round(s.Margin, 0.001), v.What+", "+v.Subject
	}
	return b
}

// tell puts findings into the row, those that say the same of several parts once,
// of the first.
func (r *Row) tell(found []finding.Finding) {
	found = finding.Sorted(found)
	told := make([]bool, len(found))
	for i, f := range found {
		switch f.Severity {
		case finding.Stop:
			r.Stops++
		case finding.Warning:
			r.Warns++
		default:
			r.Notes++
		}
		if told[i] {
			continue
		}
		out := Found{Severity: f.Severity, Stage: f.Stage, Code: f.Code, Subject: f.Subject, Message: f.Message, Remedy: f.Remedy, Source: f.Source}
		for j := i + 1; j < len(found); j++ {
			g := found[j]
			if !told[j] && g.Subject != f.Subject && g.Severity == f.Severity && g.Stage == f.Stage && g.Code == f.Code && g.Remedy == f.Remedy {
				told[j] = true
				out.Also = append(out.Also, g.Subject)
			}
		}
		r.Found = append(r.Found, out)
	}
}

// round is x to a multiple of a power of ten, written as shortly as that is.
func round(x, to float64) float64 {
	if to < 1 {
		n := math.Round(1 / to)
		return math.Round(x*n) / n
	}
	return math.Round(x/to) * to
}
