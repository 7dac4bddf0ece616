package stress

import (
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/gonum/mat"

	"groundwork/internal/elastic"
	"groundwork/internal/geom"
	"groundwork/internal/shop"
)

// steps is into how many steps the share of shell in a cell is divided; with
// the parts of a body they must fit a byte.
const steps = 16

// plastic is one filament laid down by one profile, in the axes of the print:
// 1 and 2 in the layers, 3 across them. Shell and core fill look alike in all
// directions of the layer.
type plastic struct {
	contours, covers float64 // thickness, mm
	fill             float64 // of the core fill
	density          float64 // g/mm³ of the plastic itself
	e, ez, g, gz     float64 // of the plastic itself: in the layers and across, MPa
	shell, core      elastic.Stiffness
	mixed            [steps + 1]elastic.Stiffness
	yield            [steps + 1]elastic.Stiffness // inverse of mixed
}

// character is the stiffness across the layers over that within them, and
// Poisson's ratio, by material: the middles of generic ranges of printed
// plastics, from memory. A filament's ZFactor is of strength and says nothing
// about stiffness.
func character(material string) (ez, nu float64) {
	switch m := strings.ToUpper(material); {
	case strings.Contains(m, "CF"):
		return 0.5, 0.37
	case strings.Contains(m, "GF"):
		return 0.68, 0.36
	case strings.HasPrefix(m, "PLA"):
		return 0.88, 0.35
	case strings.HasPrefix(m, "PETG"):
		return 0.90, 0.39
	case strings.HasPrefix(m, "PC"):
		return 0.90, 0.37
	}
	return 0.85, 0.35 // ABS, ASA and what is not known
}

// newPlastic homogenises a profile; creep multiplies the modulus.
func newPlastic(f shop.Filament, p shop.Profile, creep float64) (*plastic, error) {
	if !(f.Modulus > 0) {
		return nil, fmt.Errorf("filament %q has no modulus", f.ID)
	}
	factor, nu := character(f.Material)
	pl := &plastic{
		contours: float64(p.Contours) * p.Line,
		covers:   float64(p.CoverLayers) * p.Layer,
		fill:     min(1, max(0, p.Fill)),
		density:  f.Density * 1e-3,
		e:        f.Modulus * creep,
	}
	pl.ez = pl.e * factor
	pl.g = pl.e / (2 * (1 + nu))
	pl.gz = pl.g * factor
	var err error
	if pl.shell, err = layered(pl.e, pl.ez, pl.gz, nu, nu); err != nil {
		return nil, fmt.Errorf("filament %q: %w", f.ID, err)
	}
	if pl.core, err = coreFill(pl, p.FillPattern, nu); err != nil {
		return nil, fmt.Errorf("core fill of filament %q: %w", f.ID, err)
	}
	for i := range pl.mixed {
		s := float64(i) / steps
		pl.mixed[i] = blend(pl.core, pl.shell, s)
		if pl.yield[i], err = inverse(pl.mixed[i]); err != nil {
			return nil, fmt.Errorf("core fill of filament %q: %w", f.ID, err)
		}
	}
	return pl, nil
}

// layered is a material that looks alike in all directions of its layers: e and
// nu within them, ez across, gz the shear between them, nuz the contraction
// along a layer over the stretch across layers.
func layered(e, ez, gz, nu, nuz float64) (elastic.Stiffness, error) {
	n13 := nuz * e / ez // ν13/E1 = ν31/E3
	return elastic.Orthotropic{
		E1: e, E2: e, E3: ez, G12: e / (2 * (1 + nu)), G23: gz, G31: gz, Nu12: nu, Nu13: n13, Nu23: n13,
	}.Stiffness()
}

// Where core fill is no longer thin walls the formulas end; from here it goes
// over to the plastic itself in a straight line.
const thinWalls = 0.4

// coreFill homogenises walls that stand along 3, as a share of the volume: in
// the layers E/3 of the share for triangles, with ν 1/3; across layers the share
// itself; between layers half the share of the shear modulus (Gibson and Ashby,
// Cellular Solids, 2nd ed., ch. 4; Wang and McDowell 2004). A square grid is
// stiff along its lines and soft across the diagonal; how it lies is not known,
// so the mean over all directions is taken, which is the same as of triangles.
// Hexagons bend, G 3/8 of the share's cube, but resist being stretched both ways
// at once, K a quarter of the share.
func coreFill(pl *plastic, pattern string, nu float64) (elastic.Stiffness, error) {
	if pl.fill >= 1 {
		return pl.shell, nil
	}
	r := min(thinWalls, max(0.02, pl.fill)) // nothing at all would have no stiffness
	var e, n float64
	switch pattern {
	case "hexagons":
		k, g := r*pl.e/4, 0.375*r*r*r*pl.e
		e, n = 4*k*g/(k+g), (k-g)/(k+g)
	case "", "triangles", "grid":
		e, n = r*pl.e/3, 1.0/3
	default:
		return elastic.Stiffness{}, fmt.Errorf("no formula for the pattern %q", pattern)
	}
	c, err := layered(e, r*pl.ez, r/2*pl.gz, n, nu)
	if err != nil || pl.fill <= thinWalls {
		return c, err
	}
	return blend(c, pl.shell, (pl.fill-thinWalls)/(1-thinWalls)), nil
}

// blend is the stiffness of a and the share s of b side by side, strained alike
// (Voigt 1889).
func blend(a, b elastic.Stiffness, s float64) (c elastic.Stiffness) {
	for i := range c {
		for j := range c {
			c[i][j] = (1-s)*a[i][j] + s*b[i][j]
		}
	}
	return c
}

func inverse(c elastic.Stiffness) (s elastic.Stiffness, err error) {
	d := mat.NewDense(6, 6, nil)
	for i := range c {
		d.SetRow(i, c[i][:])
	}
	var inv mat.Dense
	if err := inv.Inverse(d); err != nil {
		return s, fmt.Errorf("stiffness cannot be inverted: %w", err)
	}
	for i := range s {
		for j := range s {
			s[i][j] = inv.At(i, j)
		}
	}
	return s, nil
}

func times(c *elastic.Stiffness, v elastic.Tensor) (out elastic.Tensor) {
	for i := range out {
		for j := range v {
			out[i] += c[i][j] * v[j]
		}
	}
	return out
}

// turned is the tensor, given in the world's axes, along the frame's.
func turned(t elastic.Tensor, f geom.Frame) elastic.Tensor {
	x, y, z := t.On(f.X), t.On(f.Y), t.On(f.Z)
	return elastic.Tensor{x.Dot(f.X), y.Dot(f.Y), z.Dot(f.Z), y.Dot(f.Z), z.Dot(f.X), x.Dot(f.Y)}
}

// inWorld is the tensor, given along the frame's axes, in the world's.
func inWorld(t elastic.Tensor, f geom.Frame) elastic.Tensor {
	return turned(t, geom.Frame{
		X: geom.V3(f.X.X, f.Y.X, f.Z.X), Y: geom.V3(f.X.Y, f.Y.Y, f.Z.Y), Z: geom.V3(f.X.Z, f.Y.Z, f.Z.Z),
	})
}

// strain of a cell whose share of shell is step/steps, from its mean stress;
// both along the print's axes.
func (pl *plastic) strain(step int, t elastic.Tensor) elastic.Tensor {
	return times(&pl.yield[step], t)
}

// inShell is the stress in contours and cover layers that are strained so.
func (pl *plastic) inShell(strain elastic.Tensor) elastic.Tensor { return times(&pl.shell, strain) }

// inWalls is the greatest equivalent stress in the core fill's own walls: they
// stand along 3, take the strain of the whole as theirs, and carry it in their
// own plane. Twelve directions are looked at, since it is not known how they lie.
func (pl *plastic) inWalls(strain elastic.Tensor) float64 {
	worst := 0.0
	for i := range 12 {
		sin, cos := math.Sincos(math.Pi * float64(i) / 12)
		along := cos*cos*strain[0] + sin*sin*strain[1] + sin*cos*strain[5]
		shear := sin*strain[3] + cos*strain[4]
		s, z, t := pl.e*along, pl.ez*strain[2], pl.gz*shear
		worst = max(worst, math.Sqrt(s*s-s*z+z*z+3*t*t))
	}
	return worst
}
