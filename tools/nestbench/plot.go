package main

import (
	"bytes"
	"cmp"
	"encoding/xml"
	"fmt"
	"math"
	"slices"
	"strings"
)

// hues are the colours of the curves: each has a contrast of at least 3 to 1
// (WCAG 2.1, 1.4.11) with both backgrounds. Curves beyond the last begin again,
// with other dashes; the label at its end names a curve in any case.
var (
	hues        = []string{"#c4541d", "#2a7fb8", "#3f8f3a", "#a855b5", "#b07a00", "#d1416f", "#16897f", "#7a70d0"}
	dashes      = []string{"", "7 3", "2 3", "9 3 2 3"}
	light, dark = "#ffffff", "#14161a"
)

// The frame of the plot, in pixels.
const (
	width, height                 = 900.0, 600.0
	left, right, top, bottom      = 60.0, 130.0, 24.0, 52.0
	labelStep                     = 13.0 // from label to label
	plotWidth, plotHeight         = width - left - right, height - top - bottom
	firstSecond, secondsIfUnknown = 0.05, 1.0
)

// plot draws the curves: density upwards, seconds to the right, in equal steps
// for equal ratios. Its colours follow the reader's choice of light or dark.
func plot(curves []curve) []byte {
	t0, t1 := math.Inf(1), firstSecond
	d0, d1 := math.Inf(1), math.Inf(-1)
	for _, c := range curves {
		t0 = min(t0, c.knots[0][0])
		t1 = max(t1, c.end)
		d1 = max(d1, c.knots[len(c.knots)-1][1])
	}
	if len(curves) == 0 {
		t0, t1, d0, d1 = firstSecond, secondsIfUnknown, 0, 100
	}
	t0 = max(t0, firstSecond)
	for _, c := range curves {
		d0 = min(d0, c.from(t0).knots[0][1])
	}
	if t1 < 2*t0 {
		t1 = 2 * t0
	}
	step := nice(max(d1-d0, 1) / 8)
	d0, d1 = step*math.Floor(d0/step), step*math.Ceil(d1/step)
	if d1 <= d0 {
		d1 = d0 + step
	}
	x := func(t float64) float64 { return left + plotWidth*math.Log(max(t, t0)/t0)/math.Log(t1/t0) }
	y := func(d float64) float64 { return top + plotHeight*(d1-d)/(d1-d0) }

	var b bytes.Buffer
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %g %g" width="%g" height="%g" role="img" aria-label="Density against seconds">`+"\n", width, height, width, height)
	fmt.Fprintf(&b, `<style>
.back{fill:%s}.grid{stroke:#d8dbe0}.frame{stroke:#5a5f68;fill:none}text{fill:#1c1f24;font:11px sans-serif}
.curve{fill:none;stroke-width:1.6}.leader{fill:none;stroke-width:.7}
@media (prefers-color-scheme:dark){.back{fill:%s}.grid{stroke:#343942}.frame{stroke:#9aa1ac}text{fill:#e6e8ec}}
</style>
<rect class="back" width="%g" height="%g"/>
`, light, dark, width, height)
	for k := 0; ; k++ {
		d := d0 + float64(k)*step
		if d > d1+step/2 {
			break
		}
		fmt.Fprintf(&b, `<path class="grid" d="M%.1f %.1fH%.1f"/><text x="%.1f" y="%.1f" text-anchor="end">%g</text>`+"\n", left, y(d), left+plotWidth, left-6, y(d)+4, math.Round(d*1e6)/1e6)
	}
	for _, t := range ticks(t0, t1) {
		fmt.Fprintf(&b, `<path class="grid" d="M%.1f %.1fV%.1f"/><text x="%.1f" y="%.1f" text-anchor="middle">%g</text>`+"\n", x(t), top, top+plotHeight, x(t), top+plotHeight+16, t)
	}
	fmt.Fprintf(&b, `<path class="frame" d="M%.1f %.1fV%.1fH%.1f"/>`+"\n", left, top, top+plotHeight, left+plotWidth)
	fmt.Fprintf(&b, `<text x="%.1f" y="%.1f" text-anchor="middle">seconds</text>`+"\n", left+plotWidth/2, height-14)
	fmt.Fprintf(&b, `<text transform="translate(16 %.1f) rotate(-90)" text-anchor="middle">density, %%</text>`+"\n", top+plotHeight/2)
	at := labels(curves, y)
	for i, c := range curves {
		hue, dash := hues[i%len(hues)], dashes[i/len(hues)%len(dashes)]
		var d strings.Builder
		knots := c.from(t0).knots
		for k, p := range knots {
			switch {
			case k == 0:
				fmt.Fprintf(&d, "M%.1f %.1f", x(p[0]), y(p[1]))
			case k+1 < len(knots) && x(knots[k+1][0])-x(p[0]) < 0.5: // the next one covers it
			default:
				fmt.Fprintf(&d, "H%.1fV%.1f", x(p[0]), y(p[1]))
			}
		}
		fmt.Fprintf(&d, "H%.1f", x(c.end))
		last := y(c.knots[len(c.knots)-1][1])
		dashed := ""
		if dash != "" {
			dashed = fmt.Sprintf(` stroke-dasharray="%s"`, dash)
		}
		fmt.Fprintf(&b, `<path class="curve" stroke="%s"%s d="%s"/>`+"\n", hue, dashed, d.String())
		fmt.Fprintf(&b, `<path class="leader" stroke="%s" d="M%.1f %.1fL%.1f %.1f"/><text x="%.1f" y="%.1f">`, hue, x(c.end), last, left+plotWidth+14, at[i], left+plotWidth+17, at[i]+4)
		xml.EscapeText(&b, []byte(c.name)) // writing to memory does not fail
		fmt.Fprintf(&b, " %.1f</text>\n", c.knots[len(c.knots)-1][1])
	}
	b.WriteString("</svg>\n")
	return b.Bytes()
}

// from is the curve from a time on, but for its last knot.
func (c curve) from(t float64) curve {
	k := 0
	for k+1 < len(c.knots) && c.knots[k+1][0] <= t {
		k++
	}
	c.knots = c.knots[k:]
	return c
}

// labels are the heights of the curves' labels: at their ends, but pushed apart,
// from the top down and then, where that leaves the plot, up again.
func labels(curves []curve, y func(float64) float64) []float64 {
	at := make([]float64, len(curves))
	order := make([]int, len(curves))
	for i, c := range curves {
		at[i], order[i] = y(c.knots[len(c.knots)-1][1]), i
	}
	slices.SortStableFunc(order, func(i, j int) int { return cmp.Compare(at[i], at[j]) })
	step := min(labelStep, plotHeight/float64(max(len(curves), 1)))
	next := math.Inf(-1)
	for _, i := range order {
		at[i] = max(at[i], next)
		next = at[i] + step
	}
	next = top + plotHeight
	for _, i := range slices.Backward(order) {
		at[i] = min(at[i], next)
		next = at[i] - step
	}
	return at
}

// nice is the least of 1, 2, 5, 10 … times a power of ten that is not below x.
func nice(x float64) float64 {
	p := math.Pow(10, math.Floor(math.Log10(x)))
	for _, k := range []float64{1, 2, 5} {
		if k*p >= x*(1-1e-9) {
			return k * p
		}
	}
	return 10 * p
}

// ticks are 1, 2 and 5 times the powers of ten from t0 to t1.
func ticks(t0, t1 float64) []float64 {
	var out []float64
	for e := int(math.Floor(math.Log10(t0))); e <= int(math.Ceil(math.Log10(t1))); e++ {
		for _, k := range []float64{1, 2, 5} {
			t := k * math.Pow10(e)
			if t >= t0*(1-1e-9) && t <= t1*(1+1e-9) {
				out = append(out, t)
			}
		}
	}
	return out
}
