package climate

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"groundwork/internal/finding"
	"groundwork/internal/shop"
)

// Temperatures that furniture meets, °C.
const (
	CarDash    = 69.0 // where the sun falls, after an hour in a parked car (Temperature 5, 2018, 75)
	CarAir     = 68.0 // mean over clear summer days (Grundstein et al., Int. J. Biometeorology 2009)
	CarHottest = 76.0 // the hottest air in that study
)

// Keep is how far, K, below its temperature of deflection plastic is kept where
// it bears loads for long: common practice, no source.
const Keep = 15.0

// ofDeflection is the stress, MPa, under which the temperature of deflection of a
// shop file is measured (ISO 75 method B).
const ofDeflection = 0.45

const (
	ofCars = "parked vehicle studies: Temperature 5 (2018), Int. J. Biometeorology 2009; temperature of deflection of the shop file; 15 K below it for lasting loads, common practice, no source"
)

// Part is what is printed in one filament.
type Part struct {
	Filament shop.Filament
	Lasting  bool    // bears loads for months
	Stress   float64 // MPa under them; 0 when it is not known
}

// Heat compares each filament with a closed car in the sun. has is what the shop
// has, to choose from instead.
func Heat(parts []Part, has []shop.Filament) []finding.Finding {
	var fs []finding.Finding
	for _, p := range parts {
		id, hdt := p.Filament.ID, p.Filament.HDT
		if hdt <= 0 {
			fs = append(fs, find(finding.Warning, "heat-unknown", id, fmt.Sprintf("The shop file gives no temperature of deflection for %s, so it is not known what heat its parts stand.", id),
				"Read it off the spool's data sheet (at 0.45 MPa) and enter it.", "ISO 75 method B"))
			continue
		}
		margin := hdt - CarDash
		switch {
		case margin < 0:
			fs = append(fs, find(finding.Warning, "heat", id, fmt.Sprintf(
				"Parts of %s give way at %.0f °C, %.0f K below what a closed car reaches where the sun falls (%.0f °C; its air on clear summer days %.0f °C): they would sag on the way to a buyer.", id, hdt, -margin, CarDash, CarAir),
				Instead(id, has)+"; or never leave the piece in a parked car, by a stove or in a sunny window.", ofCars))
		case margin < Keep:
			fs = append(fs, find(finding.Warning, "heat", id, fmt.Sprintf(
				"Parts of %s give way at %.0f °C, only %.0f K above what a closed car reaches where the sun falls (%.0f °C; its air %.0f °C at the hottest).", id, hdt, margin, CarDash, CarHottest),
				Instead(id, has)+"; or carry the piece in shade and unloaded.", ofCars))
		default:
			fs = append(fs, find(finding.Note, "heat", id, fmt.Sprintf(
				"Parts of %s give way at %.0f °C: %.0f K above what a closed car reaches where the sun falls (%.0f °C), %.0f K above the hottest air found in one (%.0f °C).", id, hdt, margin, CarDash, hdt-CarHottest, CarHottest), "", ofCars))
		}
		if !p.Lasting {
			continue
		}
		message := fmt.Sprintf("What is of %s here bears loads for months: keep it below %.0f °C, %.0f K under its temperature of deflection.", id, hdt-Keep, Keep)
		s := finding.Note
		if p.Stress > ofDeflection {
			message += fmt.Sprintf(" That is measured under %.2f MPa and it bears %.2f MPa, so it gives way sooner, by how much is not known.", ofDeflection, p.Stress)
			s = finding.Warning
		}
		fs = append(fs, find(s, "lasting-heat", id, message, "Keep it away from radiators and sunny windows.", ofCars))
	}
	return fs
}

// generic are low ends of ranges of the temperature of deflection at 0.45 MPa of
// kinds of filament, °C, from memory: where to look, never a verdict.
var generic = []struct {
	kind string
	low  float64
}{{"ABS", 85}, {"ASA", 90}, {"ABS-GF", 95}, {"PC", 110}, {"PA-CF", 130}}

// need is the temperature of deflection, °C, that stays clear of a closed car's
// heat.
const need = CarDash + Keep

// Clear lists the shop's other filaments that stay clear of a closed car's heat,
// the one that stands most first.
func Clear(id string, has []shop.Filament) []shop.Filament {
	var own []shop.Filament
	for _, f := range has {
		if f.ID != id && f.HDT >= need {
			own = append(own, f)
		}
	}
	slices.SortStableFunc(own, func(a, b shop.Filament) int { return cmp.Or(-cmp.Compare(a.HDT, b.HDT), cmp.Compare(a.ID, b.ID)) })
	return own
}

// Instead says what else to print in, to stay clear of a closed car's heat: from
// the shop's own filaments or, if it has none, by kind.
func Instead(id string, has []shop.Filament) string {
	if own := Clear(id, has); len(own) > 0 {
		var names []string
		for _, f := range own {
			names = append(names, fmt.Sprintf("%s (%.0f °C)", f.ID, f.HDT))
		}
		return "Print in " + strings.Join(names, " or ") + ", which the shop has"
	}
	var names []string
	for _, g := range generic {
		if g.low >= need {
			names = append(names, g.kind)
		}
	}
	return fmt.Sprintf("None of the shop's filaments stands %.0f °C: look at %s, whose common ranges do, and check the spool's own data sheet", need, strings.Join(names, ", "))
}

// Adhesives compares what adhesives stand for long with a closed car.
func Adhesives(veneers []shop.Veneer) []finding.Finding {
	var fs []finding.Finding
	for _, v := range veneers {
		switch margin := v.ServiceTemperature - CarDash; {
		case v.ServiceTemperature <= 0:
			fs = append(fs, find(finding.Note, "adhesive-unknown", v.ID, fmt.Sprintf("The shop file does not say what heat the adhesive of %s stands; a closed car in the sun reaches %.0f °C.", v.ID, CarDash),
				"Read its service temperature off the data sheet and enter it.", "the shop file; "+ofCars))
		case margin < 0:
			fs = append(fs, find(finding.Warning, "adhesive-heat", v.ID, fmt.Sprintf("The adhesive of %s is rated to %.0f °C, %.0f K below what a closed car in the sun reaches (%.0f °C).", v.ID, v.ServiceTemperature, -margin, CarDash),
				"Ask for an adhesive with a higher service temperature; or keep the piece out of parked cars.", "data sheet value in the shop file; "+ofCars))
		default:
			fs = append(fs, find(finding.Note, "adhesive-heat", v.ID, fmt.Sprintf("The adhesive of %s is rated to %.0f °C, %.0f K above what a closed car in the sun reaches (%.0f °C).", v.ID, v.ServiceTemperature, margin, CarDash),
				"", "data sheet value in the shop file; "+ofCars))
		}
	}
	return fs
}

// Thermal expansion of wood, 1e-6/K: along the grain 3 to 4.5 for most species,
// across it of flat-cut hardwoods 32 times the specific gravity and 18 more (USDA
// Wood Handbook ch. 4, from memory).
const (
	WoodAlong  = 4.0
	WoodAcross = 36.0
)

// Warming, K, and the difference of length, mm, from which it is told of:
// common practice, no source.
const (
	Warming = 40.0
	told    = 1.5
)

// Run is a stretch of veneer round a core, grain along it.
type Run struct {
	ID       string
	Length   float64
	Filament shop.Filament
}

// Outgrows is how much more a core grows than veneer along it, mm, warmed by so
// many K.
func (r Run) Outgrows(kelvin float64) float64 {
	return r.Length * kelvin * (r.Filament.Expansion - WoodAlong) * 1e-6
}

// Growth tells of cores that outgrow the veneer round them.
func Growth(runs []Run) []finding.Finding {
	var fs []finding.Finding
	for _, r := range runs {
		grow := r.Outgrows(Warming)
		if math.Abs(grow) < told {
			continue
		}
		fs = append(fs, find(finding.Warning, "thermal-mismatch", r.ID, fmt.Sprintf(
			"Warmed by %.0f K the core under %s grows %.1f mm more than its band of %.0f mm; wood along the grain hardly moves.", Warming, r.ID, grow, r.Length),
			"Keep the piece out of the sun; or print in a filled filament that expands less.",
			"expansion of the filament in the shop file; wood along the grain from memory of the USDA Wood Handbook ch. 4"))
	}
	return fs
}
