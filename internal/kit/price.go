package kit

import (
	"fmt"
	"math"
	"strings"

	"groundwork/internal/bill"
	"groundwork/internal/unit"
)

// Price is what one kit of a batch costs, and sells for.
type Price struct {
	Batch    int
	Currency string
	Lines    []PriceLine // in the order in which they add up
	Cost     float64     // of one, without the margin
	Each     float64     // price of one
	Total    float64     // of the batch
}

// PriceLine is one line, for one kit.
type PriceLine struct {
	What  string
	Each  float64
	Rests string // what the number rests on
}

// Hand work of the bill that the buyer does, by who does what. What the bill
// names otherwise is the seller's.
var buyers = map[Split][]string{
	Ready: {bill.Assembly, bill.Tightening, bill.Plugging, bill.LookOver},
	Cores: {bill.Inserts, bill.DryFit, bill.Gluing, bill.Ground, bill.Laying, bill.Trimming, bill.Joining, bill.Sanding, bill.Sample, bill.Finishing,
		bill.Assembly, bill.Tightening, bill.Plugging, bill.LookOver},
	Leaves: {bill.Loading, bill.Inserts, bill.DryFit, bill.Gluing, bill.Ground, bill.Measuring, bill.Laying, bill.Trimming, bill.Joining, bill.Sanding, bill.Sample, bill.Finishing,
		bill.Assembly, bill.Tightening, bill.Plugging, bill.LookOver},
}

func (m *making) price() {
	for _, n := range m.Batches {
		m.r.Prices = append(m.r.Prices, m.priceOf(n))
	}
}

// priceOf is the price of one kit of n. Money that is not known counts as 0, as
// on the bill.
func (m *making) priceOf(n int) Price {
	p := Price{Batch: n, Currency: m.Bill.Currency}
	add := func(what string, each float64, rests string) {
		p.Lines = append(p.Lines, PriceLine{what, each, rests})
		p.Cost += each
	}
	shop := m.Shop.Parcels
	prints := m.Split != Leaves
	section := func(s bill.Section, keep func(bill.Line) bool) (cost, quantity float64) {
		for _, l := range m.Bill.Lines {
			if l.Section == s && keep(l) {
				cost, quantity = cost+l.Cost, quantity+l.Quantity
			}
		}
		return cost, quantity
	}
	all := func(bill.Line) bool { return true }
	again := 0.0 // what is made again when a part or leaf fails
	if prints {
		cost, grams := section(bill.Filament, all)
		add("filament", cost, fmt.Sprintf("bill: %s with waste", unit.FormatMass(grams)))
		again += cost
	}
	cost, rests := m.veneerOf(n)
	add("veneer", cost, rests)
	again += cost
	cost, pieces := section(bill.Hardware, func(l bill.Line) bool { return prints || !strings.HasPrefix(l.Item, "printed") })
	add("hardware", cost, fmt.Sprintf("bill: %.0f pieces", pieces))
	var spare float64
	for _, s := range m.r.Spares {
		for _, l := range m.Bill.Lines {
			if l.Section == bill.Hardware && l.Item == s.Item {
				spare += float64(s.Quantity) * l.Price
			}
		}
	}
	add("spares", spare, fmt.Sprintf("%d items: one of each, one of twenty, and what is tried before", len(m.r.Spares)))
	if m.Split == Ready {
		cost, _ = section(bill.Consumable, all)
		add("glue, sealer, finish", cost, "bill: amounts by area, of the shop file")
	}
	cost, hours := section(bill.Machine, func(l bill.Line) bool { return prints || l.Item == m.Sheets.Laser })
	add("machines", cost, fmt.Sprintf("bill: %.1f h at the shop's prices", hours))
	again += cost
	theirs := buyers[m.Split]
	cost, hours = section(bill.Labour, func(l bill.Line) bool {
		for _, b := range theirs {
			if l.Item == b {
				return false
			}
		}
		return true
	})
	add("labour", cost, fmt.Sprintf("bill: %.1f h at %.2f; what the buyer does is left out", hours, m.Shop.Labour))
	made, _ := section(bill.Labour, func(l bill.Line) bool {
		return prints && l.Item == bill.Loading || l.Item == bill.Blanks || l.Item == bill.Watching
	})
	again += made
	var board, soft float64
	for _, q := range m.r.Parcels {
		area := boardArea(q.Outside) * 1e-6
		price := area * shop.BoardPrice
		for _, b := range shop.Boxes {
			if b.ID == q.Box {
				price = b.Price
			}
		}
		board += price
		in := q.Inside.X * q.Inside.Y * q.Inside.Z
		for _, i := range q.Things {
			net := m.r.Things[i].Net
			in -= net.X * net.Y * net.Z
		}
		soft += in * 1e-6
	}
	add("box and filling", board+soft*shop.SoftPrice, fmt.Sprintf("%d parcels, %.1f l of wrapping and filling", len(m.r.Parcels), soft))
	pack := float64(len(m.r.Parcels)) * shop.Packing / 3600
	add("packing", pack*m.Shop.Labour, fmt.Sprintf("%.1f h at %.2f", pack, m.Shop.Labour))
	switch set := m.Bill.CostOf(bill.Fixtures); {
	case set == 0 || m.Split == Leaves: // the buyer prints them
	case m.Split == Cores:
		add("fixtures", set, "bill: a set of them goes with every kit")
	default:
		add("fixtures", set/float64(n), fmt.Sprintf("bill: made once, shared by %d", n))
	}
	// If a share f of what is made fails, 1/(1-f) times as much is made.
	add("made again", again*shop.Failures/(1-shop.Failures), fmt.Sprintf("%.0f %% of printed parts and leaves fail", 100*shop.Failures))
	add("set-up", shop.SetUp/3600*m.Shop.Labour/float64(n), fmt.Sprintf("%.1f h once, shared by %d", shop.SetUp/3600, n))
	margin := p.Cost * shop.Margin
	p.Lines = append(p.Lines, PriceLine{"margin", margin, fmt.Sprintf("%.0f %% of the cost of %.2f", 100*shop.Margin, p.Cost)})
	p.Each = p.Cost + margin
	p.Total = p.Each * float64(n)
	return p
}

// veneerOf is the veneer of one kit of n: of every kind as many whole sheets as
// the kits take together, if what one leaves that is worth keeping serves the next.
func (m *making) veneerOf(n int) (float64, string) {
	var cost, sheets, alone float64
	for _, v := range m.Shop.Veneers {
		var used, bought float64
		for _, s := range m.Sheets.Sheets {
			if s.Veneer != v.ID {
				continue
			}
			if s.Kept != "" {
				cost += s.Price
				continue
			}
			bought++
			used += s.Size.X * s.Size.Y
			for _, o := range s.Offcuts {
				e := o.Size()
				used -= e.X * e.Y
			}
		}
		if bought == 0 {
			continue
		}
		alone += bought
		// No fewer sheets than one kit takes, and no more than each for itself.
		whole := min(max(math.Ceil(float64(n)*used/(v.Sheet.X*v.Sheet.Y)-1e-9), bought), float64(n)*bought)
		sheets += whole
		cost += whole * v.Price / float64(n)
	}
	return cost, fmt.Sprintf("%.0f whole sheets for %d; one kit alone takes %.0f. That offcuts of one serve the next is reckoned by area, not laid out", sheets, n, alone)
}
