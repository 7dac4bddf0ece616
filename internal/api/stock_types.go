package api

import (
	"fmt"
	"math"
	"slices"
	"time"

	"groundwork/internal/store"
)

// Stock is what the shop has. Amounts are in the item's unit: g, ml, m, or
// pieces.
type Stock struct {
	Items     []StockItem     `json:"items" doc:"By kind, then by name"`
	Uncovered []StockHolders  `json:"uncovered" doc:"Of these more is laid aside than is there"`
	Jobs      []StockJobEntry `json:"jobs" doc:"Those under way, then the last that ended"`
	Printers  []string        `json:"printers" doc:"Printers that jobs were planned or printed on"`
	Worth     []string        `json:"worth" doc:"What it is worth at the last prices, such as 312.40 EUR, by currency"`
	Unpriced  int             `json:"unpriced" doc:"Items there of which no price is known"`
}

// StockItem is what there is of one sort of thing.
type StockItem struct {
	Kind     string     `json:"kind" enum:"filament,sheet,offcut,hardware,consumable"`
	Item     string     `json:"item" doc:"Its id in the shop file, or what it is called on the bill"`
	Unit     string     `json:"unit" enum:"g,piece,ml,m"`
	There    float64    `json:"there"`
	Reserved float64    `json:"reserved" doc:"Laid aside for jobs"`
	Free     float64    `json:"free"`
	Price    string     `json:"price" doc:"Such as 22.00 EUR for 1 kg; empty where none is known"`
	Lots     []StockLot `json:"lots" doc:"In the order in which they came"`
}

// StockLot is one spool, one piece of veneer, or the bin of what is counted
// together.
type StockLot struct {
	Lot      string      `json:"lot" doc:"What is written on it; empty for a bin"`
	There    float64     `json:"there"`
	Reserved float64     `json:"reserved"`
	Free     float64     `json:"free"`
	Holds    []StockHold `json:"holds"`
	Piece    *StockPiece `json:"piece,omitempty" doc:"Of a piece of veneer"`
}

// StockHold is what is laid aside of a lot for a job.
type StockHold struct {
	Job    string  `json:"job"`
	Amount float64 `json:"amount"`
}

// StockPiece is the shape of a piece of veneer: mm, x across the grain, y along
// it.
type StockPiece struct {
	Form     string       `json:"form" enum:"offcut,blank,sheet"`
	Size     [2]float64   `json:"size"`
	Outline  [][2]float64 `json:"outline"`
	Reserved []StockArea  `json:"reserved" doc:"Knots and cracks to keep off"`
	From     string       `json:"from" doc:"What it was cut from, where that is known"`
}

// StockArea is a rectangle on a piece of veneer, mm.
type StockArea struct {
	At   [2]float64 `json:"at"`
	Size [2]float64 `json:"size"`
}

// StockHolders is a lot with the jobs that count on it.
type StockHolders struct {
	Kind  string      `json:"kind"`
	Item  string      `json:"item"`
	Lot   string      `json:"lot"`
	There float64     `json:"there"`
	Unit  string      `json:"unit"`
	Holds []StockHold `json:"holds"`
}

// StockJobEntry is one job in a list.
type StockJobEntry struct {
	Job    string    `json:"job"`
	Piece  string    `json:"piece" doc:"Name of the piece"`
	State  string    `json:"state" enum:"planned,reserved,finished,abandoned"`
	Since  time.Time `json:"since"`
	Loads  int       `json:"loads"`
	Logged int       `json:"logged" doc:"Loads of which a run that came out is logged"`
}

// StockJob is all there is to say of a job.
type StockJob struct {
	StockJobEntry
	Revision string       `json:"revision" doc:"Of the kit that it was planned as; empty for none"`
	Plan     []StockLoad  `json:"plan" doc:"Its print loads"`
	Runs     []StockRun   `json:"runs" doc:"What loads really took, oldest first"`
	Taken    []StockTaken `json:"taken" doc:"What is laid aside for it"`
	Needs    []StockNeed  `json:"needs" doc:"What it takes from stock"`
	Leaves   []StockBack  `json:"leaves" doc:"Offcuts that it will leave; they have no numbers yet"`
}

// StockLoad is a print load as it was planned.
type StockLoad struct {
	Load     string  `json:"load"`
	Printer  string  `json:"printer"`
	Filament string  `json:"filament"`
	Seconds  float64 `json:"seconds" doc:"As worked out, before any correction by the log"`
	Grams    float64 `json:"grams"`
	Spool    string  `json:"spool" doc:"Spool that it will be printed from, where only one comes into question"`
	Logged   bool    `json:"logged" doc:"A run that came out is logged"`
}

// StockRun is what a load really took.
type StockRun struct {
	Run     int64     `json:"run"`
	Load    string    `json:"load"`
	At      time.Time `json:"at"`
	Printer string    `json:"printer"`
	Seconds float64   `json:"seconds"`
	Grams   float64   `json:"grams"`
	Spool   string    `json:"spool"`
	Failed  bool      `json:"failed"`
	Aside   string    `json:"aside" doc:"Why it is not learnt from; empty if it is"`
}

// StockTaken is an amount of a lot.
type StockTaken struct {
	Kind   string  `json:"kind"`
	Item   string  `json:"item"`
	Lot    string  `json:"lot"`
	Amount float64 `json:"amount"`
	Unit   string  `json:"unit"`
}

// StockNeed is an amount that a job takes.
type StockNeed struct {
	Kind   string  `json:"kind"`
	Item   string  `json:"item"`
	Lot    string  `json:"lot" doc:"Piece of veneer that it must be; empty for any"`
	Amount float64 `json:"amount"`
	Unit   string  `json:"unit"`
	OneLot bool    `json:"oneLot" doc:"It must all be on one spool"`
	For    string  `json:"for" doc:"Such as load-03; empty for the whole job"`
}

// StockShort is a need that is not met.
type StockShort struct {
	StockNeed
	Free  float64     `json:"free" doc:"What could be had: of what must be on one spool, the most that one has"`
	Short float64     `json:"short"`
	Holds []StockHold `json:"holds" doc:"What other jobs have of it"`
}

// StockBack is a piece of veneer that a job leaves.
type StockBack struct {
	Item  string      `json:"item"`
	Lot   string      `json:"lot" doc:"The number to write on it; empty while the job is under way"`
	Piece *StockPiece `json:"piece,omitempty"`
}

// StockDo goes with everything that is done to the stock.
type StockDo struct {
	Key    string `json:"key" minLength:"8" maxLength:"100" doc:"Made by the client for this one deed: sent again, after an answer was lost, it does nothing twice"`
	Reason string `json:"reason,omitempty" maxLength:"500" doc:"In the maker's words; kept with the change"`
	View   string `json:"view,omitempty" maxLength:"100"`
}

// StockEntry is something that comes in, is counted, or is priced.
type StockEntry struct {
	StockDo
	Do       string       `json:"do" enum:"add,count,price"`
	Kind     string       `json:"kind" enum:"filament,sheet,offcut,hardware,consumable"`
	Item     string       `json:"item" minLength:"1" maxLength:"200" doc:"Its id in the shop file, or what it is called on the bill"`
	Lot      string       `json:"lot,omitempty" maxLength:"60" doc:"Spool or piece; left out, what is added gets the next number"`
	Amount   string       `json:"amount,omitempty" maxLength:"60" doc:"As people write it: 750 g, 1 kg, 250 ml, 40. Of a count, what there is now"`
	Unit     string       `json:"unit,omitempty" enum:"g,piece,ml,m" doc:"Of a consumable that is new"`
	Cost     string       `json:"cost,omitempty" maxLength:"60" doc:"What all that is added cost together, such as 22 EUR; from then on its price"`
	Price    string       `json:"price,omitempty" maxLength:"100" doc:"Such as 22 EUR for 1 kg"`
	Form     string       `json:"form,omitempty" enum:"offcut,blank,sheet" doc:"What a piece of veneer is"`
	Outline  [][2]float64 `json:"outline,omitempty" maxItems:"1000" doc:"Corners of a piece of veneer, mm, x across the grain, y along it"`
	Reserved []StockArea  `json:"reserved,omitempty" maxItems:"1000"`
}

// StockEntered is what became of an entry.
type StockEntered struct {
	Kind  string  `json:"kind"`
	Item  string  `json:"item"`
	Lot   string  `json:"lot" doc:"The number to write on it; empty for what is counted together"`
	There float64 `json:"there" doc:"How much of the item there is now"`
	Unit  string  `json:"unit"`
}

// StockReserve enters a plan as a job.
type StockReserve struct {
	StockDo
	Job             string `json:"job" minLength:"1" maxLength:"100" doc:"What the job is called, such as stool-1"`
	WithoutFixtures bool   `json:"withoutFixtures,omitempty" doc:"Its fixtures are there already: no filament is counted for them"`
}

// StockReserved is what came of laying aside: all that the job takes, or, where
// something is short, nothing.
type StockReserved struct {
	Job   StockJob     `json:"job"`
	Taken []StockTaken `json:"taken"`
	Short []StockShort `json:"short"`
}

// StockJobName names a job in an address.
type StockJobName struct {
	Job string `path:"job" maxLength:"100" doc:"What the job is called"`
}

// StockPrint is what a load really took.
type StockPrint struct {
	StockDo
	Load       string `json:"load" maxLength:"100"`
	Took       string `json:"took" maxLength:"60" doc:"How long the printer was busy, such as 3 h 20 min"`
	Grams      string `json:"grams" maxLength:"60" doc:"What it took from the spool, weighed before and after, such as 212 g"`
	Spool      string `json:"spool,omitempty" maxLength:"60" doc:"What is written on the spool; left out, it is taken from none"`
	Printer    string `json:"printer,omitempty" maxLength:"60" doc:"If it was another than planned"`
	NewPrinter bool   `json:"newPrinter,omitempty" doc:"The printer was never planned or printed on"`
	Failed     bool   `json:"failed,omitempty" doc:"It did not come out: hours and filament are counted, but nothing is learnt from it"`
}

// StockFinish ends a job that was made.
type StockFinish struct {
	StockDo
	NoOffcuts bool `json:"noOffcuts,omitempty" doc:"Nothing of its veneer is worth keeping"`
}

// StockFinished is what came of it.
type StockFinished struct {
	Job       StockJob     `json:"job"`
	Back      []StockBack  `json:"back" doc:"Pieces of veneer that are in stock again, with the numbers to write on them"`
	AsPlanned []StockTaken `json:"asPlanned" doc:"Filament that was taken as planned, for loads that were not logged"`
}

// StockCalibration is what the log says of the estimates for a printer and a
// filament.
type StockCalibration struct {
	Printer  string   `json:"printer"`
	Filament string   `json:"filament"`
	Time     StockFit `json:"time"`
	Grams    StockFit `json:"grams"`
}

// StockFit is how actual figures stand to estimates: factor times the estimate,
// and offset (s or g).
type StockFit struct {
	Runs     int     `json:"runs"`
	Claimed  bool    `json:"claimed" doc:"False for fewer than three runs, of which nothing is said"`
	Factor   float64 `json:"factor"`
	Offset   float64 `json:"offset"`
	Low      float64 `json:"low" doc:"Low and high are the factor's 95 % interval"`
	High     float64 `json:"high"`
	Spread   float64 `json:"spread" doc:"Standard deviation of one run, as a share"`
	Outliers []int64 `json:"outliers" doc:"Runs that do not go with the others"`
}

// StockEvent says that the stock is another.
type StockEvent struct {
	View string `json:"view" doc:"Window that changed it"`
}

func (out *Stock) fill(has *store.Stock, jobs []store.Job) {
	for _, it := range has.Items {
		out.Items = append(out.Items, itemOf(it))
	}
	for _, l := range has.Uncovered() {
		u := StockHolders{string(l.Kind), l.ID, l.Lot, l.OnHand.Units(), "", holdsOf(l.Holds)}
		if it, ok := has.Of(l.Item); ok {
			u.Unit = it.Unit
		}
		out.Uncovered = append(out.Uncovered, u)
	}
	for _, p := range has.Printers {
		if !p.Retired {
			out.Printers = append(out.Printers, p.ID)
		}
	}
	worth, unpriced := has.Value()
	out.Unpriced = unpriced
	for _, m := range worth {
		out.Worth = append(out.Worth, m.String())
	}
	var over []StockJobEntry
	for _, j := range jobs {
		if e := entryOf(j); j.State == "planned" || j.State == "reserved" {
			out.Jobs = append(out.Jobs, e)
		} else {
			over = append(over, e)
		}
	}
	slices.SortStableFunc(over, func(a, b StockJobEntry) int { return b.Since.Compare(a.Since) })
	out.Jobs = append(out.Jobs, over[:min(len(over), endedJobs)]...)
}

func itemOf(it store.Stocked) StockItem {
	out := StockItem{Kind: string(it.Kind), Item: it.ID, Unit: it.Unit, There: it.OnHand.Units(), Reserved: it.Held.Units(), Free: it.Free().Units(), Lots: []StockLot{}}
	if p := it.Price; p != nil {
		out.Price = p.Money.String()
		amount, unit := p.For.Units(), it.Unit
		if larger := map[string]string{"g": "kg", "ml": "l"}[unit]; larger != "" && math.Mod(amount, 1000) == 0 {
			amount, unit = amount/1000, larger
		}
		switch {
		case unit != "piece":
			out.Price += fmt.Sprintf(" for %g %s", amount, unit)
		case amount != 1:
			out.Price += fmt.Sprintf(" for %g", amount)
		}
	}
	for _, l := range it.Lots {
		out.Lots = append(out.Lots, StockLot{l.Lot, l.OnHand.Units(), l.Held().Units(), l.Free().Units(), holdsOf(l.Holds), pieceOf(l.Piece)})
	}
	return out
}

func holdsOf(hs []store.Hold) []StockHold {
	out := []StockHold{}
	for _, h := range hs {
		out = append(out, StockHold{h.Job, h.Amount.Units()})
	}
	return out
}

func pieceOf(p *store.Piece) *StockPiece {
	if p == nil {
		return nil
	}
	size := p.Outline.Bounds().Size()
	out := &StockPiece{Form: string(p.Form), Size: [2]float64{size.X, size.Y}, Outline: [][2]float64{}, Reserved: []StockArea{}}
	for _, q := range p.Outline {
		out.Outline = append(out.Outline, [2]float64{q.X, q.Y})
	}
	for _, r := range p.Reserved {
		out.Reserved = append(out.Reserved, StockArea{[2]float64{r.At.X, r.At.Y}, [2]float64{r.Size.X, r.Size.Y}})
	}
	if p.CutFrom != nil {
		out.From = p.CutFrom.ID + " sheet"
		if p.CutFrom.Lot != "" {
			out.From = p.CutFrom.ID + " offcut " + p.CutFrom.Lot
		}
	}
	return out
}

func entryOf(j store.Job) StockJobEntry {
	e := StockJobEntry{Job: j.ID, Piece: j.Piece, State: j.State, Since: j.Since, Loads: len(j.Loads)}
	for _, l := range j.Loads {
		if cameOut(j, l.ID) {
			e.Logged++
		}
	}
	return e
}

// cameOut is whether a run of a load is logged that did not fail.
func cameOut(j store.Job, load string) bool {
	return slices.ContainsFunc(j.Runs, func(r store.Run) bool { return r.Load == load && !r.Failed })
}

func jobOf(j store.Job, has *store.Stock) StockJob {
	out := StockJob{StockJobEntry: entryOf(j), Revision: j.Revision, Plan: []StockLoad{}, Runs: []StockRun{}, Taken: []StockTaken{}, Needs: []StockNeed{}, Leaves: []StockBack{}}
	for _, l := range j.Loads {
		out.Plan = append(out.Plan, StockLoad{l.ID, l.Printer, l.Filament, l.Seconds, l.Grams, onlySpool(j, l.Filament), cameOut(j, l.ID)})
	}
	for _, r := range j.Runs {
		out.Runs = append(out.Runs, StockRun{r.N, r.Load, r.At, r.Printer, r.Seconds, r.Grams, r.Spool, r.Failed, r.Aside})
	}
	for _, t := range j.Holds {
		out.Taken = append(out.Taken, takenOf(t, has))
	}
	for _, n := range j.Needs {
		out.Needs = append(out.Needs, needOf(n))
	}
	for i := range j.Left {
		out.Leaves = append(out.Leaves, StockBack{Item: j.Left[i].Veneer, Lot: j.Left[i].Lot, Piece: pieceOf(&j.Left[i].Piece)})
	}
	return out
}

// onlySpool is the spool of a filament that is reserved for a job or that it was
// printed from, if there is just one.
func onlySpool(j store.Job, filament string) string {
	var lots []string
	for _, t := range j.Holds {
		if t.Lot.Item == (store.Item{Kind: store.Filament, ID: filament}) {
			lots = append(lots, t.Lot.Lot)
		}
	}
	for _, r := range j.Runs {
		if r.Filament == filament && r.Spool != "" {
			lots = append(lots, r.Spool)
		}
	}
	slices.Sort(lots)
	if lots = slices.Compact(lots); len(lots) == 1 {
		return lots[0]
	}
	return ""
}

func takenOf(t store.Taken, has *store.Stock) StockTaken {
	out := StockTaken{string(t.Lot.Kind), t.Lot.ID, t.Lot.Lot, t.Amount.Units(), ""}
	if it, ok := has.Of(t.Lot.Item); ok {
		out.Unit = it.Unit
	}
	return out
}

func needOf(n store.Need) StockNeed {
	return StockNeed{string(n.Kind), n.ID, n.Lot, n.Amount.Units(), n.Unit, n.OneLot, n.For}
}

func shortOf(x store.Shortage) StockShort {
	return StockShort{needOf(x.Need), x.Free.Units(), x.Short().Units(), holdsOf(x.Holds)}
}

func fitOf(f store.Fit) StockFit {
	out := StockFit{f.N, f.Claimed, f.Factor, f.Offset, f.Low, f.High, f.Spread, f.Outliers}
	if out.Outliers == nil {
		out.Outliers = []int64{}
	}
	return out
}
