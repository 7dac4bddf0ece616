package store

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s is %.12g, not %.12g", what, got, want)
	}
}

// The regression with a slope, on the data set Norris of the NIST Statistical
// Reference Datasets (linear regression, lower level of difficulty) and its
// certified values.
func TestNorris(t *testing.T) {
	data := []float64{ // y, x
		0.1, 0.2, 338.8, 337.4, 118.1, 118.2, 888.0, 884.6, 9.2, 10.1, 228.1, 226.5, 668.5, 666.3, 998.5, 996.3,
		449.1, 448.6, 778.9, 777.0, 559.2, 558.2, 0.3, 0.4, 0.1, 0.6, 778.1, 775.5, 668.8, 666.9, 339.3, 338.0,
		448.9, 447.5, 10.8, 11.6, 557.7, 556.0, 228.3, 228.1, 998.0, 995.8, 888.8, 887.6, 119.6, 120.2, 0.3, 0.3,
		0.6, 0.3, 557.6, 556.8, 339.3, 339.1, 888.0, 887.2, 998.5, 999.0, 778.9, 779.0, 10.2, 11.1, 117.6, 118.3,
		228.9, 229.2, 668.4, 669.1, 449.2, 448.9, 0.2, 0.5,
	}
	var x, y []float64
	for i := 0; i < len(data); i += 2 {
		y, x = append(y, data[i]), append(x, data[i+1])
	}
	l := regress(x, y, true)
	near(t, "intercept", l.b, -0.262323073774029, 1e-10)
	near(t, "slope", l.a, 1.00211681802045, 1e-12)
	near(t, "residual standard deviation", l.s, 0.884796396144373, 1e-10)
	near(t, "standard deviation of the intercept", l.s*math.Sqrt(l.cov00), 0.232818234301152, 1e-10)
	near(t, "standard deviation of the slope", l.s*math.Sqrt(l.cov11), 0.429796848199937e-3, 1e-13)
}

// Quantiles of Student's t: NIST/SEMATECH e-Handbook of Statistical Methods,
// section 1.3.6.7.2.
func TestQuantiles(t *testing.T) {
	for _, c := range []struct{ p, df, want float64 }{
		{0.975, 1, 12.706}, {0.975, 2, 4.303}, {0.975, 3, 3.182}, {0.975, 10, 2.228}, {0.975, 30, 2.042}, {0.95, 5, 2.015}, {0.99, 4, 3.747}, {0.999, 8, 4.501},
	} {
		near(t, "quantile", quantile(c.p, c.df), c.want, 6e-4)
	}
}

// The shortcuts are what they stand for: leaving a point out and predicting it,
// and the residual over the deviation that is found without it.
func TestShortcuts(t *testing.T) {
	w, z := []float64{1, 2, 3.5, 4, 7, 9}, []float64{1.1, 1.9, 3.0, 4.4, 6.6, 9.9}
	for _, slope := range []bool{false, true} {
		l := regress(w, z, slope)
		var sum float64
		for i := range w {
			without := regress(slices.Delete(slices.Clone(w), i, i+1), slices.Delete(slices.Clone(z), i, i+1), slope)
			e := z[i] - without.b - without.a*w[i]
			sum += e * e
			// The t of the residual, by hand and by the formula.
			byHand := e / (without.s * math.Sqrt(1+without.cov00+2*w[i]*without.cov01+w[i]*w[i]*without.cov11))
			r := l.resid[i] / (l.s * math.Sqrt(1-l.lever[i]))
			near(t, "studentised residual", r*math.Sqrt((l.df-1)/(l.df-r*r)), byHand, 1e-9)
		}
		near(t, "leave-one-out", l.loo(), sum/float64(len(w)), 1e-12)
	}
}

func runs(pairs ...float64) []Run {
	var out []Run
	for i := 0; i < len(pairs); i += 2 {
		out = append(out, Run{
			N: int64(i/2 + 1), Actual: Actual{Printer: "small-bed", Seconds: pairs[i+1], Grams: pairs[i+1] / 10}, Filament: "abs",
			EstimatedSeconds: pairs[i], EstimatedGrams: pairs[i] / 10,
		})
	}
	return out
}

func timeFit(t *testing.T, r []Run) Fit {
	t.Helper()
	c := Calibrate(r)
	if len(c) != 1 {
		t.Fatalf("%d calibrations", len(c))
	}
	return c[0].Time
}

func TestCalibrate(t *testing.T) {
	// Under three runs nothing is claimed, and an estimate stays as it is.
	f := timeFit(t, runs(1000, 1100, 2000, 2200))
	if e, low, high, claimed := f.Predict(500); claimed || e != 500 || low != 500 || high != 500 || f.N != 2 {
		t.Errorf("%+v", f)
	}
	// Three runs, by hand: ratios 1.1, 1.2, 1.3; mean 1.2, deviation 0.1, t(0.975, 2) = 4.303,
	// confidence 1.2 ± 4.303·0.1/√3, prediction 1.2 ± 4.303·0.1·√(1+1/3).
	f = timeFit(t, runs(1000, 1100, 2000, 2400, 3000, 3900))
	near(t, "factor", f.Factor, 1.2, 1e-12)
	near(t, "spread", f.Spread, 0.1, 1e-12)
	near(t, "low", f.Low, 1.2-0.24843, 1e-4)
	near(t, "high", f.High, 1.2+0.24843, 1e-4)
	e, low, high, claimed := f.Predict(10_000)
	near(t, "expected", e, 12_000, 1e-6)
	near(t, "lower bound", low, 12_000-4968.6, 1)
	near(t, "upper bound", high, 12_000+4968.6, 1)
	if !claimed || f.MinX != 1000 || f.MaxX != 3000 {
		t.Errorf("claimed %v, from %v to %v", claimed, f.MinX, f.MaxX)
	}
	// Ten minutes too little on every load: an offset says it, a factor does not.
	f = timeFit(t, runs(1000, 1601, 2000, 2599, 4000, 4602, 8000, 8597, 16000, 16603, 30000, 30600))
	near(t, "factor", f.Factor, 1, 1e-3)
	near(t, "offset", f.Offset, 600, 5)
	// What never differed is no reason to divide by nothing.
	f = timeFit(t, runs(1000, 1100, 2000, 2200, 3000, 3300, 4000, 4400, 5000, 5500))
	near(t, "factor", f.Factor, 1.1, 1e-9)
	near(t, "offset", f.Offset, 0, 1e-6)
	if len(f.Outliers) > 0 {
		t.Errorf("outliers %v of runs that are all alike", f.Outliers)
	}
	// Loads all of one size: no offset can be told, and none is.
	f = timeFit(t, runs(1000, 1100, 1000, 1150, 1000, 1090, 1000, 1120, 1000, 1105))
	near(t, "offset", f.Offset, 0, 0)
	// A run that goes with none of the others is shown, and stays in; set aside, it is out.
	r := runs(1000, 1100, 2000, 2180, 3000, 3330, 4000, 4420, 5000, 5480, 6000, 12000, 7000, 7750, 8000, 8810)
	f = timeFit(t, r)
	if !slices.Equal(f.Outliers, []int64{6}) || f.N != 8 {
		t.Errorf("outliers %v of %d", f.Outliers, f.N)
	}
	r[5].Aside = "the power went"
	r = append(r, Run{N: 9, Actual: Actual{Printer: "small-bed", Seconds: 10, Failed: true}, Filament: "abs", EstimatedSeconds: 1000, EstimatedGrams: 10})
	f = timeFit(t, r)
	if len(f.Outliers) > 0 || f.N != 7 {
		t.Errorf("outliers %v of %d", f.Outliers, f.N)
	}
	near(t, "factor", f.Factor, 1.1, 0.01)
	// By printer, then filament.
	other := runs(1000, 900)
	other[0].Printer = "large-bed"
	if c := Calibrate(append(runs(1000, 1100), other...)); len(c) != 2 || c[0].Printer != "large-bed" || c[0].Time.Claimed {
		t.Errorf("%+v", c)
	}
	// As planning goes by it: the same figure, and nowhere less than the prediction
	// interval of the loads that it rests on.
	c := f.Correction()
	for x := f.MinX; x <= f.MaxX; x += 50 {
		y, low, high, _ := f.Predict(x)
		near(t, "corrected", c.Of(x), y, 1e-6)
		if w := c.Within(x, 0.25); y*(1-w) > low+1e-3*y || y*(1+w) < high-1e-3*y {
			t.Errorf("at %g: %g ± %g, not %g to %g", x, y, w, low, high)
		}
	}
	if c.Runs != 7 || c.From != 1000 || c.To != 8000 || c.Spread > 0.1 || (Fit{}).Correction().Known() {
		t.Errorf("%+v", c)
	}
	offset := timeFit(t, runs(1000, 1601, 2000, 2599, 4000, 4602, 8000, 8597, 16000, 16603, 30000, 30600))
	for x := offset.MinX; x <= offset.MaxX; x += 50 {
		y, _, high, _ := offset.Predict(x)
		if w := offset.Correction().Within(x, 0.25); y*(1+w) < high-1e-3*y {
			t.Errorf("at %g: %g ± %g, not to %g", x, y, w, high)
		}
	}
}

// The intervals are honest: of loads that were drawn anew, 95 of 100 lie within
// the prediction interval, and the true factor within its own, for few runs and
// for many. That a model is chosen by the same runs costs some of it.
func TestCoverage(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 12))
	for _, c := range []struct {
		n              int
		factor, offset float64
	}{{3, 1.15, 0}, {4, 1.15, 0}, {6, 1.15, 0}, {6, 1.05, 900}, {15, 1.15, 0}, {15, 1.05, 900}, {40, 0.9, 0}} {
		const trials = 4000
		hits, chosen := 0, 0
		draw := func() (x, y float64) {
			x = 3600 * math.Exp(3*rng.Float64()) // 1 h to 20 h
			return x, c.factor*x + c.offset + 0.08*x*rng.NormFloat64()
		}
		for range trials {
			var pairs []float64
			for range c.n {
				x, y := draw()
				pairs = append(pairs, x, y)
			}
			f := timeFit(t, runs(pairs...))
			x, y := draw()
			if _, low, high, _ := f.Predict(x); low <= y && y <= high {
				hits++
			}
			if f.Offset != 0 {
				chosen++
			}
		}
		share := float64(hits) / trials
		t.Logf("%d runs, offset %g s: %.1f %% within; an offset in %.0f %%", c.n, c.offset, 100*share, 100*float64(chosen)/trials)
		// Three standard errors of the count are 1 %.
		if share < 0.92 || share > 0.965 {
			t.Errorf("%d runs, offset %g: %.3f within the interval, not 0.95", c.n, c.offset, share)
		}
	}
}
