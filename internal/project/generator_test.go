package project

import (
	"fmt"
	"math/rand/v2"
	"strings"
)

// drawn makes a project of jobs of 1 to 10 s between two milestones, on four
// scarce resources, as hard as those of the hardest published kind: every job
// takes something of each, and there is little more than the most that one takes.
// The same seed gives the same project.
func drawn(seed uint64, jobs int) Project {
	rng := rand.New(rand.NewPCG(seed, 30))
	p := Project{Activities: make([]Activity, jobs+2)}
	for r := range 4 {
		p.Resources = append(p.Resources, Resource{Name: fmt.Sprintf("R %d", r+1), Capacity: 12})
	}
	followed := make([]bool, jobs+1)
	for i := 1; i <= jobs; i++ {
		a := &p.Activities[i]
		a.Duration = 1 + rng.Int64N(10)
		for r := range p.Resources {
			a.Demands = append(a.Demands, Demand{Resource: r, Amount: 1 + rng.Int64N(10)})
		}
		from := max(0, i-8)
		for range 1 + rng.IntN(2) {
			b := from + rng.IntN(i-from)
			if i <= 3 {
				b = 0
			}
			if len(a.After) == 0 || a.After[0].Activity != b {
				a.After = append(a.After, Link{Activity: b})
				followed[b] = true
			}
		}
	}
	for i := 1; i <= jobs; i++ {
		if !followed[i] {
			p.Activities[jobs+1].After = append(p.Activities[jobs+1].After, Link{Activity: i})
		}
	}
	for i := range p.Activities {
		p.Activities[i].Name = fmt.Sprint(i + 1)
	}
	return p
}

// written is a project of finish-start links without lags, in the format that
// ReadPSPLIB reads.
func written(p Project) string {
	var b strings.Builder
	stars := strings.Repeat("*", 72) + "\n"
	n := len(p.Activities)
	fmt.Fprintf(&b, "%sfile with basedata            : drawn\ninitial value random generator: 0\n%s", stars, stars)
	fmt.Fprintf(&b, "projects                      :  1\njobs (incl. supersource/sink ):  %d\nhorizon                       :  0\nRESOURCES\n", n)
	fmt.Fprintf(&b, "  - renewable                 :  %d   R\n  - nonrenewable              :  0   N\n  - doubly constrained        :  0   D\n%s", len(p.Resources), stars)
	fmt.Fprintf(&b, "PROJECT INFORMATION:\npronr.  #jobs rel.date duedate tardcost  MPM-Time\n    1     %d      0       0       0       0\n%s", n-2, stars)
	fmt.Fprint(&b, "PRECEDENCE RELATIONS:\njobnr.    #modes  #successors   successors\n")
	for i := range p.Activities {
		var next []string
		for j, a := range p.Activities {
			for _, l := range a.After {
				if l.Activity == i {
					next = append(next, fmt.Sprintf("%4d", j+1))
				}
			}
		}
		fmt.Fprintf(&b, "%4d %8d %10d       %s\n", i+1, 1, len(next), strings.Join(next, ""))
	}
	fmt.Fprintf(&b, "%sREQUESTS/DURATIONS:\njobnr. mode duration ", stars)
	for _, r := range p.Resources {
		fmt.Fprintf(&b, " %s", r.Name)
	}
	fmt.Fprintf(&b, "\n%s\n", strings.Repeat("-", 72))
	for i, a := range p.Activities {
		fmt.Fprintf(&b, "%3d %6d %5d    ", i+1, 1, a.Duration)
		amount := make([]int64, len(p.Resources))
		for _, d := range a.Demands {
			amount[d.Resource] = d.Amount
		}
		for _, v := range amount {
			fmt.Fprintf(&b, " %4d", v)
		}
		fmt.Fprintln(&b)
	}
	fmt.Fprintf(&b, "%sRESOURCEAVAILABILITIES:\n", stars)
	for _, r := range p.Resources {
		fmt.Fprintf(&b, "  %s", r.Name)
	}
	fmt.Fprintln(&b)
	for _, r := range p.Resources {
		fmt.Fprintf(&b, " %4d", r.Capacity)
	}
	fmt.Fprintf(&b, "\n%s", stars)
	return b.String()
}
