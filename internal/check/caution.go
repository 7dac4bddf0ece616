package check

import (
	"slices"
	"strings"

	"groundwork/internal/piece"
)

// cautions are those that belong to the work this piece takes.
func cautions(in Inputs) []Caution {
	out := []Caution{
		{"print", "Print in an enclosure vented outdoors or in a room where nobody sleeps or sits: printing gives off fine particles, and ABS-like plastics styrene.", "Atmospheric Environment 79 (2013) 334; Environ. Sci. Technol. 2016"},
		{"glue", "Glue and solvents: open windows, no flame, gloves; read the maker's data sheet. Never wipe ABS or ASA with acetone.", "common practice, no source"},
		{"sand", "Wear a mask for wood dust (FFP2 or N95 at least) and eye cover; collect dust at the tool.", "NIOSH recommended limit for wood dust 1 mg/m³"},
		{"finish", "Rags with drying oil can set themselves alight: dry them in one layer outdoors, or keep them under water in a lidded metal can.", "29 CFR 1926.252(e) on oily rags; fire services' advice"},
		{"use", "Do not stand on it. Keep it away from stoves, radiators and parked cars.", "common practice, no source"},
		{"use", "Local codes and licensed practice come before anything written here.", "common practice, no source"},
	}
	if len(in.Patterns) > 0 {
		out = append(out,
			Caution{"laser", "Never leave the laser running unattended; keep the lid shut, the exhaust on, an extinguisher at hand and the bed clear. Cut veneer only: never vinyl, PVC, ABS, polycarbonate or unknown sheet.", "university laser safety rules; IEC/EN 60825-1 for the machine's class"},
			Caution{"laser", "Adhesive backing gives off strong fumes: extract them outdoors, and mask the face against scorch.", "common practice, no source"},
			Caution{"trim", "Cut away from your hands, with a sharp blade, on a piece that is held down.", "common practice, no source"})
	}
	for _, j := range in.Joints.Joints {
		if len(j.Screws) > 0 {
			out = append(out, Caution{"insert", "The tip that sets inserts is at 210 to 250 °C: hold it by the handle, let the part cool before you touch it, and do not breathe the smoke.", "secondary source"})
			break
		}
	}
	for _, id := range filaments(in) {
		f, _ := in.Shop.Filament(id)
		if strings.HasSuffix(f.Material, "-GF") || strings.HasSuffix(f.Material, "-CF") {
			out = append(out, Caution{"sand", "Glass or carbon filled plastic: sand it wet, wear P100 or FFP3, eye cover and sleeves, vacuum and wash.", "NIOSH pocket guide on fibrous glass, from memory"})
			break
		}
	}
	if in.Piece.Use == piece.Shelf {
		out = append(out, Caution{"assemble", "Fix the shelf to the wall with fasteners meant for that wall and for the load.", "common practice, no source"})
	}
	slices.SortStableFunc(out, func(a, b Caution) int { return operation(a) - operation(b) })
	return out
}

func operation(c Caution) int {
	return slices.Index([]string{"print", "insert", "glue", "sand", "laser", "trim", "finish", "assemble", "use"}, c.Operation)
}
