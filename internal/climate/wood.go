package climate

import (
	"fmt"
	"slices"
	"strings"
)

// Wood is what a species does when it dries, and how stiff and strong it is at
// 12 % moisture.
type Wood struct {
	Name       string
	Radial     float64 // change of size per % of moisture, across the grain of quarter-cut stock
	Tangential float64 // the same of flat-cut stock
	Modulus    float64 // MPa along the grain, bending
	Across     float64 // MPa, tension strength across the grain; 0 when the table has none
	Genus      string
}

// Sources of woods.
const (
	ofMovement = "USDA Wood Handbook (FPL-GTR-190, 2010) table 13-5, valid from 6 to 14 % moisture"
	ofStrength = "USDA Wood Handbook (FPL-GTR-282, 2021) table 5-3b, clear wood, averages"
)

const (
	psi  = 0.006894757 // MPa
	mpsi = 6894.757    // MPa
)

// woods are the rows of the two tables.
var woods = []Wood{
	{"black walnut", 0.00190, 0.00274, 1.68 * mpsi, 690 * psi, "walnut"},
	{"white oak", 0.00180, 0.00365, 1.78 * mpsi, 800 * psi, "oak"},
	{"red oak", 0.00158, 0.00369, 1.82 * mpsi, 800 * psi, "oak"},
	{"black cherry", 0.00126, 0.00248, 1.49 * mpsi, 560 * psi, "cherry"},
	{"sugar maple", 0.00165, 0.00353, 1.83 * mpsi, 0, "maple"},
	{"red maple", 0.00137, 0.00289, 1.64 * mpsi, 0, "maple"},
	{"white ash", 0.00169, 0.00274, 1.74 * mpsi, 940 * psi, "ash"},
	{"yellow-poplar", 0.00158, 0.00289, 1.58 * mpsi, 540 * psi, "poplar"},
	// European beech of 14 GPa (DIN 68364); the American row has no modulus here.
	{"american beech", 0.00190, 0.00431, 14000, 0, "beech"},
}

// Species is the row of the table that a shop's species is taken for, and what
// to say about it where that is not plain; "" where it is. A genus alone gets
// its row that moves most, an unknown name the widest values of the whole table.
func Species(name string) (Wood, string) {
	n := strings.Join(strings.FieldsFunc(strings.ToLower(name), func(r rune) bool { return r == ' ' || r == '-' || r == '_' }), " ")
	for _, w := range woods {
		if n == strings.ReplaceAll(w.Name, "-", " ") {
			return w, ""
		}
	}
	words := strings.Fields(n)
	var rows []Wood
	for _, w := range woods {
		if slices.Contains(words, w.Genus) {
			rows = append(rows, w)
		}
	}
	if len(rows) == 0 {
		w := widest(woods)
		w.Name = "a wood that is not in the table"
		return w, fmt.Sprintf("%q is not in the table of species, so the widest movement and the least strength in it are taken", name)
	}
	w := widest(rows)
	switch {
	case len(words) == 1 && len(rows) == 1:
		return w, fmt.Sprintf("%q is taken for %s", name, rows[0].Name)
	case len(words) == 1:
		w.Name = name
		return w, fmt.Sprintf("%q is any of %s: the widest movement and the least strength of them are taken", name, names(rows))
	}
	return w, fmt.Sprintf("%q is not in the table of species: taken for the nearest there, %s", name, names(rows))
}

// widest has the greatest movement and stiffness and the least strength of rows.
func widest(rows []Wood) Wood {
	out := rows[0]
	for _, w := range rows {
		out.Radial, out.Tangential, out.Modulus = max(out.Radial, w.Radial), max(out.Tangential, w.Tangential), max(out.Modulus, w.Modulus)
		if w.Across > 0 && (out.Across == 0 || w.Across < out.Across) {
			out.Across = w.Across
		}
	}
	return out
}

func names(rows []Wood) string {
	var out []string
	for _, w := range rows {
		out = append(out, w.Name)
	}
	return strings.Join(out, " or ")
}

// Properties that are not in the tables by species.
const (
	trueModulus = 1.10 // E along the grain over the modulus from bending tests (Wood Handbook table 5-3, footnote c)
	lowAcross   = 0.06 // E across the grain over E along it: the range of hardwoods in Wood Handbook table 5-1, from memory
	highAcross  = 0.10
	shearRatio  = 0.07        // shear modulus over E along the grain, same table, from memory
	poisson     = 0.4         // along the grain to across it, hardwoods, Wood Handbook table 5-2, from memory
	lengthwise  = 0.0015 / 28 // change per % of moisture: 0.1 to 0.2 % from green to dry (ch. 4, from memory), green 28 %
)
