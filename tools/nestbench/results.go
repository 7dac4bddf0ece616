package main

import (
	"bytes"
	"cmp"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
)

// point is a layout better than those before it.
type point struct {
	instance string
	seed     int64
	seconds  float64
	density  float64 // %
}

// summary is the end of a run.
type summary struct {
	instance string
	seed     int64
	seconds  float64
	density  float64 // %
	lines    float64 // looked along for places, per second; 0 is not known
	verified bool
	fault    string // if not
}

// results are all runs.
type results struct {
	points  []point
	summary []summary
}

var (
	pointHeader   = []string{"instance", "seed", "seconds", "density_pct"}
	summaryHeader = []string{"instance", "seed", "seconds", "density_pct", "lines_per_second", "verified"}
)

// write writes the CSV files.
func (r results) write(dir string) error {
	rows := [][]string{pointHeader}
	for _, p := range r.points {
		rows = append(rows, []string{p.instance, fmt.Sprint(p.seed), fixed(p.seconds, 3), fixed(p.density, 4)})
	}
	if err := writeCSV(filepath.Join(dir, "curves.csv"), rows); err != nil {
		return err
	}
	rows = [][]string{summaryHeader}
	for _, s := range r.summary {
		lines, verified := "", "no"
		if s.lines > 0 {
			lines = fixed(s.lines, 0)
		}
		if s.verified {
			verified = "yes"
		}
		rows = append(rows, []string{s.instance, fmt.Sprint(s.seed), fixed(s.seconds, 3), fixed(s.density, 4), lines, verified})
	}
	return writeCSV(filepath.Join(dir, "summary.csv"), rows)
}

func fixed(x float64, places int) string { return strconv.FormatFloat(x, 'f', places, 64) }

func writeCSV(name string, rows [][]string) error {
	var b bytes.Buffer
	if err := csv.NewWriter(&b).WriteAll(rows); err != nil {
		return err
	}
	return os.WriteFile(name, b.Bytes(), 0o644)
}

// read reads the CSV files of a folder.
func read(dir string) (r results, err error) {
	open := func(name string, parse func(io.Reader) error) error {
		f, err := os.Open(filepath.Join(dir, name))
		if err != nil {
			return err
		}
		defer f.Close()
		if err := parse(f); err != nil {
			return fmt.Errorf("%s: %w", f.Name(), err)
		}
		return nil
	}
	if err = open("curves.csv", func(f io.Reader) (err error) { r.points, err = readPoints(f); return err }); err != nil {
		return r, err
	}
	err = open("summary.csv", func(f io.Reader) (err error) { r.summary, err = readSummary(f); return err })
	return r, err
}

func readPoints(f io.Reader) ([]point, error) {
	var out []point
	err := rows(f, pointHeader, func(row []string, n numbers) {
		out = append(out, point{row[0], n.whole(1), n.number(2), n.number(3)})
	})
	return out, err
}

func readSummary(f io.Reader) ([]summary, error) {
	var out []summary
	err := rows(f, summaryHeader, func(row []string, n numbers) {
		s := summary{instance: row[0], seed: n.whole(1), seconds: n.number(2), density: n.number(3), verified: row[5] == "yes"}
		if row[4] != "" {
			s.lines = n.number(4)
		}
		out = append(out, s)
	})
	return out, err
}

// numbers reads the numbers of a row and keeps the first fault.
type numbers struct {
	row   []string
	fault *error
}

func (n numbers) whole(k int) int64 {
	v, err := strconv.ParseInt(n.row[k], 10, 64)
	n.keep(k, err)
	return v
}

func (n numbers) number(k int) float64 {
	v, err := strconv.ParseFloat(n.row[k], 64)
	if err == nil && !(v >= 0 && v < 1e9) {
		err = strconv.ErrRange
	}
	n.keep(k, err)
	return v
}

func (n numbers) keep(k int, err error) {
	if err != nil && *n.fault == nil {
		*n.fault = fmt.Errorf("%q in column %d is not a number that is looked for there", n.row[k], k+1)
	}
}

// rows calls f for every row below the header.
func rows(f io.Reader, header []string, take func(row []string, n numbers)) error {
	r := csv.NewReader(f)
	r.FieldsPerRecord = len(header)
	first, err := r.Read()
	if err != nil {
		return fmt.Errorf("reading the header: %w", err)
	}
	if !slices.Equal(first, header) {
		return fmt.Errorf("its columns are %s; they should be %s", strings.Join(first, ","), strings.Join(header, ","))
	}
	for {
		row, err := r.Read()
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return err
		}
		var fault error
		take(row, numbers{row, &fault})
		if fault != nil {
			line, _ := r.FieldPos(0)
			return fmt.Errorf("line %d: %w", line, fault)
		}
	}
}

// names are the instances in the order in which they were run.
func (r results) names() []string {
	var out []string
	for _, s := range r.summary {
		if !slices.Contains(out, s.instance) {
			out = append(out, s.instance)
		}
	}
	return out
}

// of are the runs of an instance.
func (r results) of(name string) []summary {
	var out []summary
	for _, s := range r.summary {
		if s.instance == name {
			out = append(out, s)
		}
	}
	return out
}

// median of a list; of an even number the mean of the middle two.
func median(x []float64) float64 {
	x = slices.Sorted(slices.Values(x))
	n := len(x)
	if n == 0 {
		return math.NaN()
	}
	return (x[(n-1)/2] + x[n/2]) / 2
}

// table is the summary in Markdown.
func (r results) table() string {
	var b strings.Builder
	b.WriteString("| instance | density by seed, % | median | least | seconds a run | lines a second |\n|---|---|---|---|---|---|\n")
	var medians []float64
	for _, name := range r.names() {
		var by []string
		var d, sec, lines []float64
		for _, s := range r.of(name) {
			text := fixed(s.density, 2)
			if !s.verified {
				text += " DOES NOT HOLD"
			}
			by = append(by, text)
			d, sec = append(d, s.density), append(sec, s.seconds)
			if s.lines > 0 {
				lines = append(lines, s.lines)
			}
		}
		speed := "not counted"
		if len(lines) > 0 {
			speed = fixed(median(lines), 0)
		}
		medians = append(medians, median(d))
		fmt.Fprintf(&b, "| %s | %s | %.2f | %.2f | %.1f | %s |\n", name, strings.Join(by, " / "), median(d), slices.Min(d), median(sec), speed)
	}
	var sum float64
	for _, m := range medians {
		sum += m
	}
	if len(medians) > 0 {
		fmt.Fprintf(&b, "\nMean of the medians of %d instances: %.2f %%.\n", len(medians), sum/float64(len(medians)))
	}
	return b.String()
}

// curve is the density over the seconds, a step at each knot.
type curve struct {
	name  string
	knots [][2]float64 // seconds, density
	end   float64      // s, until when it was followed
}

// curves are, for each instance, the medians of its seeds' best densities so
// far, from when every seed has a layout until the last is over.
func (r results) curves() []curve {
	var out []curve
	for _, name := range r.names() {
		runs := r.of(name)
		var own []point
		c := curve{name: name}
		for _, s := range runs {
			c.end = max(c.end, s.seconds)
		}
		for _, p := range r.points {
			if p.instance == name {
				own = append(own, p)
			}
		}
		slices.SortStableFunc(own, func(a, b point) int { return cmp.Compare(a.seconds, b.seconds) })
		best := map[int64]float64{}
		for _, p := range own {
			best[p.seed] = max(best[p.seed], p.density)
			if len(best) < len(runs) {
				continue
			}
			var now []float64
			for _, s := range runs {
				now = append(now, best[s.seed])
			}
			if m, n := median(now), len(c.knots); n == 0 || m > c.knots[n-1][1] {
				c.knots = append(c.knots, [2]float64{p.seconds, m})
			}
		}
		if len(c.knots) > 0 {
			out = append(out, c)
		}
	}
	return out
}

// draw makes table and plot from the CSV files of a folder.
func draw(dir string) error {
	r, err := read(dir)
	if err != nil {
		return err
	}
	if err := os.WriteFile(filepath.Join(dir, "table.md"), []byte(r.table()), 0o644); err != nil {
		return err
	}
	return os.WriteFile(filepath.Join(dir, "density.svg"), plot(r.curves()), 0o644)
}
