package store

import (
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"groundwork/internal/geom"
)

// model is the store as simple as can be: what every lot holds and what every
// job has reserved of it.
type model struct {
	onHand map[Ref]Amount
	held   map[string]map[Ref]Amount
	state  map[string]string
}

func (m *model) free(r Ref, job string) Amount {
	f := m.onHand[r]
	for j, holds := range m.held {
		if j != job {
			f -= holds[r]
		}
	}
	return max(0, f)
}

// Whatever is done in whatever order, the store is what the model is, every
// reservation is whole or absent, and it is absent exactly if something is short.
func TestModel(t *testing.T) {
	dir := t.TempDir()
	trial := 0
	rapid.Check(t, func(t *rapid.T) {
		trial++
		path := filepath.Join(dir, fmt.Sprint(trial), FileName)
		ctx := t.Context()
		s, err := Open(ctx, path, noon)
		if err != nil {
			t.Fatal(err)
		}
		defer func() { s.Close() }()
		m := &model{map[Ref]Amount{}, map[string]map[Ref]Amount{}, map[string]string{}}
		jobs := []string{"a", "b", "c"}
		for _, j := range jobs {
			m.held[j] = map[Ref]Amount{}
		}
		items := []Item{abs, {Filament, "pla"}, screws, glue, pieces}
		why := Note{Reason: "a test"}
		amount := func(i Item, label string, low, high int) Amount {
			n := Amount(rapid.IntRange(low, high).Draw(t, label))
			if i.Kind != Filament && i.Kind != Consumable {
				return n * 1000
			}
			return n * 333
		}
		lots := func() []Ref {
			var out []Ref
			for r := range m.onHand {
				out = append(out, r)
			}
			slices.SortFunc(out, func(a, b Ref) int { return slices.Compare([]string{a.String()}, []string{b.String()}) })
			return out
		}
		lot := func() Ref {
			all := lots()
			if len(all) == 0 {
				t.Skip("nothing there")
			}
			return rapid.SampledFrom(all).Draw(t, "lot")
		}
		clear := func(job string) { m.held[job] = map[Ref]Amount{} }
		t.Repeat(map[string]func(*rapid.T){
			"add": func(t *rapid.T) {
				i := rapid.SampledFrom(items).Draw(t, "item")
				r := Receipt{Item: i, Amount: amount(i, "amount", 1, 9)}
				switch i.Kind {
				case Consumable:
					r.Unit = "ml"
				case Offcut:
					r.Amount, r.Piece = 1000, &Piece{Form: Leftover, Outline: Rectangle(geom.V2(60, 300))}
				}
				ref, err := s.Add(ctx, r)
				if err != nil {
					t.Fatal(err)
				}
				if _, there := m.onHand[ref]; there && (i.Kind == Filament || i.Kind == Offcut) {
					t.Fatalf("%s was there", ref)
				}
				m.onHand[ref] += r.Amount
			},
			"adjust": func(t *rapid.T) {
				r := lot()
				d := amount(r.Item, "delta", -9, 9)
				err := s.Adjust(ctx, r, d, why)
				after := m.onHand[r] + d
				if refused := err != nil; refused != (after < 0 || d == 0 || r.Kind == Offcut && after > 1000) {
					t.Fatalf("%s %s of %s: %v", r, d, m.onHand[r], err)
				}
				if err == nil {
					m.onHand[r] = after
				}
			},
			"count": func(t *rapid.T) {
				r := lot()
				n := amount(r.Item, "counted", 0, 9)
				err := s.Count(ctx, r, n, why)
				if refused := err != nil; refused != (r.Kind == Offcut && n > 1000) {
					t.Fatal(err)
				}
				if err == nil {
					m.onHand[r] = n
				}
			},
			"plan": func(t *rapid.T) {
				j := rapid.SampledFrom(jobs).Draw(t, "job")
				err := s.Plan(ctx, Job{ID: j}, why)
				ended := m.state[j] == "finished" || m.state[j] == "abandoned"
				if (err != nil) != ended || ended && !errors.Is(err, ErrState) {
					t.Fatal(err)
				}
				if m.state[j] == "" {
					m.state[j] = "planned"
				}
			},
			"reserve": func(t *rapid.T) {
				j := rapid.SampledFrom(jobs).Draw(t, "job")
				var needs []Need
				for range rapid.IntRange(1, 4).Draw(t, "needs") {
					i := rapid.SampledFrom(items).Draw(t, "item")
					n := Need{Item: i, Amount: amount(i, "amount", 1, 12)}
					if i.Kind == Offcut {
						n.Lot, n.Amount = fmt.Sprint(rapid.IntRange(1, 3).Draw(t, "lot")), 1000
					}
					needs = append(needs, n)
				}
				r, err := s.Reserve(ctx, j, needs, why)
				if allowed := m.state[j] == "planned" || m.state[j] == "reserved"; !allowed {
					if err == nil {
						t.Fatalf("reserved for a job that is %q", m.state[j])
					}
					return
				}
				if err != nil {
					t.Fatal(err)
				}
				// Enough is there of an item if all needs of it together are covered, and of a
				// lot that must be if those for it are.
				wants, free := map[Item]Amount{}, map[Item]Amount{}
				wantsLot := map[Ref]Amount{}
				for ref := range m.onHand {
					free[ref.Item] += m.free(ref, j)
				}
				for _, n := range needs {
					wants[n.Item] += n.Amount
					if n.Lot != "" {
						wantsLot[Ref{n.Item, n.Lot}] += n.Amount
					}
				}
				short := false
				for i, w := range wants {
					short = short || i != pieces && w > free[i]
				}
				for ref, w := range wantsLot {
					short = short || w > m.free(ref, j)
				}
				if short != (len(r.Short) > 0) || short == (len(r.Taken) > 0) {
					t.Fatalf("wants %v, free %v: %+v", wants, free, r)
				}
				lacking := map[Item]Amount{}
				for _, x := range r.Short {
					lacking[x.Item] += x.Short()
				}
				for i, l := range lacking {
					if i != pieces && l != wants[i]-free[i] {
						t.Fatalf("%s: %s short, not %s", i, l, wants[i]-free[i])
					}
				}
				if short {
					return
				}
				got := map[Item]Amount{}
				next := map[Ref]Amount{}
				for _, x := range r.Taken {
					if x.Amount > m.free(x.Lot, j) {
						t.Fatalf("%s of %s, of which %s were free", x.Amount, x.Lot, m.free(x.Lot, j))
					}
					got[x.Lot.Item] += x.Amount
					next[x.Lot] += x.Amount
				}
				for i, w := range wants {
					if got[i] != w {
						t.Fatalf("%s of %s, not %s", got[i], i, w)
					}
				}
				m.held[j], m.state[j] = next, "reserved"
			},
			"release": func(t *rapid.T) {
				j := rapid.SampledFrom(jobs).Draw(t, "job")
				if err := s.Release(ctx, j, why); (err == nil) != (m.state[j] == "reserved") {
					t.Fatal(err)
				} else if err == nil {
					clear(j)
					m.state[j] = "planned"
				}
			},
			"abandon": func(t *rapid.T) {
				j := rapid.SampledFrom(jobs).Draw(t, "job")
				if rapid.IntRange(0, 5).Draw(t, "seldom") > 0 {
					t.Skip("seldom")
				}
				if err := s.Abandon(ctx, j, why); (err == nil) != (m.state[j] == "reserved" || m.state[j] == "planned") {
					t.Fatal(err)
				} else if err == nil {
					clear(j)
					m.state[j] = "abandoned"
				}
			},
			"finish": func(t *rapid.T) {
				j := rapid.SampledFrom(jobs).Draw(t, "job")
				var a Actuals
				used := map[Ref]Amount{}
				for r, n := range m.held[j] {
					used[r] = n
				}
				for range rapid.IntRange(0, 2).Draw(t, "others") {
					r := lot()
					if slices.ContainsFunc(a.Used, func(x Taken) bool { return x.Lot == r }) {
						continue
					}
					n := amount(r.Item, "used", 0, 5)
					a.Used = append(a.Used, Taken{r, n})
					used[r] = n
				}
				if rapid.Bool().Draw(t, "left") {
					a.Left = []Left{{Veneer: "walnut", Piece: Piece{Form: Leftover, Outline: Rectangle(geom.V2(60, 300))}}}
				}
				enough := true
				for r, n := range used {
					enough = enough && n <= m.onHand[r]
				}
				refs, err := s.Finish(ctx, j, a, why)
				if (err == nil) != (m.state[j] == "reserved" && enough) {
					t.Fatalf("%s, enough %v: %v", m.state[j], enough, err)
				}
				if err != nil {
					return
				}
				for r, n := range used {
					m.onHand[r] -= n
				}
				for _, r := range refs {
					m.onHand[r] = 1000
				}
				clear(j)
				m.state[j] = "finished"
			},
			"open again": func(t *rapid.T) {
				if rapid.IntRange(0, 9).Draw(t, "seldom") > 0 {
					t.Skip("seldom")
				}
				if err := s.Close(); err != nil {
					t.Fatal(err)
				}
				if s, err = Open(ctx, path, noon); err != nil {
					t.Fatal(err)
				}
			},
			"": func(t *rapid.T) {
				wrong, err := s.Check(ctx)
				if err != nil || len(wrong) > 0 {
					t.Fatal(wrong, err)
				}
				st, err := s.Stock(ctx, StockOptions{Empty: true})
				if err != nil {
					t.Fatal(err)
				}
				n := 0
				uncovered := map[Ref]bool{}
				for _, l := range st.Uncovered() {
					uncovered[l.Ref] = true
				}
				for _, it := range st.Items {
					for _, l := range it.Lots {
						n++
						var held Amount
						for _, j := range jobs {
							held += m.held[j][l.Ref]
						}
						if l.OnHand != m.onHand[l.Ref] || l.Held() != held {
							t.Fatalf("%s: %s and %s reserved, not %s and %s", l.Ref, l.OnHand, l.Held(), m.onHand[l.Ref], held)
						}
						if uncovered[l.Ref] != (held > l.OnHand) {
							t.Fatalf("%s: uncovered %v", l.Ref, uncovered[l.Ref])
						}
					}
				}
				if n != len(m.onHand) {
					t.Fatalf("%d lots, not %d", n, len(m.onHand))
				}
				all, err := s.Jobs(ctx)
				if err != nil {
					t.Fatal(err)
				}
				for _, j := range all {
					if j.State != m.state[j.ID] {
						t.Fatalf("%s is %s, not %s", j.ID, j.State, m.state[j.ID])
					}
				}
			},
		})
	})
}
