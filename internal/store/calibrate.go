package store

import (
	"cmp"
	"context"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"groundwork/internal/shop"
)

// Calibration is what the log says of the estimates for one printer and
// filament.
type Calibration struct {
	Printer, Filament string
	Time, Grams       Fit
}

// Fit is actual figures over estimated ones, from runs that neither failed nor
// were set aside. An estimate x is corrected to Factor·x + Offset, whose error
// grows with x: an hour's print is not off by as much as a day's.
//
// A factor alone is the mean of actual over estimated. An offset, such as heating
// up would be, is taken in if leaving out one run after the other shows that it
// predicts the one left out better.
type Fit struct {
	N       int
	Claimed bool // false under three runs: then nothing below is told but Outliers' absence

	Factor, Offset float64
	Low, High      float64 // 95 % confidence interval of Factor
	Spread         float64 // standard deviation of one run about the line, as a share of it
	MinX, MaxX     float64 // estimates that it rests on

	// Outliers are runs that do not go with the others: Run.N of those whose
	// externally studentised residual is beyond Student's t at 5 %, shared among all
	// runs (Bonferroni). They are part of the fit; SetAside takes them out.
	Outliers []int64

	// X'X inverse of the regression of actual/x on 1 and 1/x (or on 1 alone), its
	// degrees of freedom.
	cov00, cov01, cov11 float64
	df                  float64
}

// fewest is how many runs it takes to claim anything; offsets is how many it
// takes to look for an offset, with which three degrees of freedom are left.
const (
	fewest  = 3
	offsets = 5
)

// Calibration works out what the log says, by printer, then filament.
func (s *Store) Calibration(ctx context.Context) ([]Calibration, error) {
	runs, err := s.Runs(ctx)
	if err != nil {
		return nil, err
	}
	return Calibrate(runs), nil
}

// Calibrate is Calibration of given runs.
func Calibrate(runs []Run) []Calibration {
	type key struct{ printer, filament string }
	by := map[key][]Run{}
	var keys []key
	for _, r := range runs {
		k := key{r.Printer, r.Filament}
		if r.Failed || r.Aside != "" {
			continue
		}
		if by[k] == nil {
			keys = append(keys, k)
		}
		by[k] = append(by[k], r)
	}
	slices.SortFunc(keys, func(a, b key) int {
		return cmp.Or(cmp.Compare(a.printer, b.printer), cmp.Compare(a.filament, b.filament))
	})
	var out []Calibration
	for _, k := range keys {
		var n []int64
		var sx, sy, gx, gy []float64
		for _, r := range by[k] {
			n = append(n, r.N)
			sx, sy = append(sx, r.EstimatedSeconds), append(sy, r.Seconds)
			gx, gy = append(gx, r.EstimatedGrams), append(gy, r.Grams)
		}
		out = append(out, Calibration{Printer: k.printer, Filament: k.filament, Time: fitted(n, sx, sy), Grams: fitted(n, gx, gy)})
	}
	return out
}

// line is a regression of z on 1 and w, or on 1 alone.
type line struct {
	b, a                float64 // z = b + a·w
	cov00, cov01, cov11 float64 // (X'X)⁻¹
	df                  float64
	s                   float64   // residual standard deviation
	resid, lever        []float64 // residuals and leverages
}

func regress(w, z []float64, slope bool) line {
	n := float64(len(z))
	var l line
	if !slope {
		l = line{b: stat.Mean(z, nil), cov00: 1 / n, df: n - 1}
	} else {
		l.b, l.a = stat.LinearRegression(w, z, nil, false)
		mean, variance := stat.MeanVariance(w, nil)
		sxx := variance * (n - 1)
		l.cov00, l.cov01, l.cov11, l.df = 1/n+mean*mean/sxx, -mean/sxx, 1/sxx, n-2
	}
	var ss float64
	for i := range z {
		r := z[i] - l.b - l.a*w[i]
		ss += r * r
		l.resid = append(l.resid, r)
		l.lever = append(l.lever, l.cov00+2*w[i]*l.cov01+w[i]*w[i]*l.cov11)
	}
	if l.df > 0 {
		l.s = math.Sqrt(ss / l.df)
	}
	return l
}

// loo is the mean square of the errors with which each point is predicted by
// the others: its residual over 1 - leverage, squared (Allen's PRESS; Weisberg,
// Applied Linear Regression, 3rd ed. (2005), section 10.2).
func (l line) loo() float64 {
	var sum float64
	for i, r := range l.resid {
		if l.lever[i] > 1-1e-9 {
			return math.Inf(1) // the line hangs on this point alone
		}
		e := r / (1 - l.lever[i])
		sum += e * e
	}
	return sum / float64(len(l.resid))
}

func fitted(n []int64, x, y []float64) Fit {
	f := Fit{N: len(x)}
	if f.N < fewest {
		return f
	}
	w, z := make([]float64, len(x)), make([]float64, len(x))
	for i := range x {
		w[i], z[i] = 1/x[i], y[i]/x[i]
	}
	l := regress(w, z, false)
	if f.N >= offsets && slices.Max(x) > slices.Min(x)*1.2 { // or an offset cannot be told from a factor
		if with := regress(w, z, true); with.b > 0 && with.loo() < l.loo() {
			l = with
		}
	}
	f.Claimed = true
	f.Factor, f.Offset, f.Spread = l.b, l.a, l.s
	f.cov00, f.cov01, f.cov11, f.df = l.cov00, l.cov01, l.cov11, l.df
	f.MinX, f.MaxX = slices.Min(x), slices.Max(x)
	half := quantile(0.975, l.df) * l.s * math.Sqrt(l.cov00)
	f.Low, f.High = l.b-half, l.b+half

	// Mean shift outlier test: t_i = r_i √((df-1)/(df-r_i²)) with r_i the internally
	// studentised residual (Weisberg, Applied Linear Regression, 3rd ed. (2005),
	// section 9.1).
	if l.df >= 2 && l.s > 0 {
		limit := quantile(1-0.05/(2*float64(f.N)), l.df-1)
		for i, e := range l.resid {
			if l.lever[i] > 1-1e-9 {
				continue
			}
			r := e / (l.s * math.Sqrt(1-l.lever[i]))
			left := l.df - r*r
			if left <= 0 || math.Abs(r)*math.Sqrt((l.df-1)/left) > limit {
				f.Outliers = append(f.Outliers, n[i])
			}
		}
	}
	return f
}

func quantile(p, df float64) float64 {
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Quantile(p)
}

// Predict is what a load that was estimated at x will take, and between what it
// will lie 95 times of 100: the prediction interval for one load, which is wide
// for few runs. Without a claim it is x, and false.
//
// Low is not less than nothing.
func (f Fit) Predict(x float64) (expected, low, high float64, claimed bool) {
	if !f.Claimed || !(x > 0) {
		return x, x, x, false
	}
	w := 1 / x
	expected = f.Factor*x + f.Offset
	half := quantile(0.975, f.df) * f.Spread * math.Sqrt(1+f.cov00+2*w*f.cov01+w*w*f.cov11) * x
	return expected, max(0, expected-half), expected + half, true
}

// Correction is the fit as planning goes by it (shop.ApplyLog writes it into the
// shop file); it is not Known without a claim. Its Spread is the widest share that
// Predict gives for any of the estimates that the fit rests on.
func (f Fit) Correction() shop.Correction {
	if !f.Claimed {
		return shop.Correction{}
	}
	c := shop.Correction{Times: f.Factor, Plus: f.Offset, From: f.MinX, To: f.MaxX, Runs: f.N}
	// The share is √(q(w))/(b + a·w) in w = 1/x with q a parabola: between two ends
	// it has at most one extreme, which lies inside; so a dense walk finds it.
	const steps = 64
	for i := range steps + 1 {
		w := 1/f.MaxX + (1/f.MinX-1/f.MaxX)*float64(i)/steps
		if y, _, high, _ := f.Predict(1 / w); y > 0 {
			c.Spread = max(c.Spread, (high-y)/y)
		}
	}
	return c
}
