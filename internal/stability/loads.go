package stability

import "groundwork/internal/piece"

// What the loads are by analogy with.
const (
	ofTables = "600 N from Smardzewski, Furniture Design (Springer 2015) ch. 6; 200 N, a third of it, is the least that is asked here; both 50 mm in from the edge as ISO 7172:1988 presses"
	ofSeats  = "trade guide to EN 1022:2018; ISO 7174-1:1988 tips stools in all directions"
)

// Tests are the loads on its edges that belong to a piece that stands on the
// floor; none where its use says nothing of them.
func Tests(use piece.Use) []Test {
	switch use {
	case piece.Table, piece.Stand, piece.Shelf:
		source := ofTables
		if use != piece.Table {
			source += "; applied to this use by analogy with tables, for EN 16122 too presses 50 mm in from the edge"
		}
		return []Test{
			{"edge-200", 200, 50, 0, true, "200 N pressed down 50 mm in from the edge", source},
			{"edge-600", 600, 50, 0, false, "600 N pressed down 50 mm in from the edge", source},
		}
	case piece.Seat:
		return []Test{{"edge-of-seat", 600, 60, 20, true, "600 N pressed down 60 mm in from the edge while 20 N push outward", ofSeats}}
	}
	return nil
}

// When EN 14749:2016 has storage units tested for stability (secondary source).
func testedByStorageRule(height, mass float64) bool {
	return height > 900 && mass >= 10e3 || height > 350 && mass >= 35e3
}

// Scope of ASTM F2057-23 and 16 CFR 1261 as far as it can be measured here (from
// the standard's abstract): also 90.6 dm³ of enclosed volume for clothing, which
// no piece file tells.
const (
	clothingHeight = 686    // mm
	clothingMass   = 13.6e3 // g
	clothingVolume = 90.6   // dm³
	clothingPush   = 44.0   // N, from memory of the standard
	clothingHand   = 1422.0 // mm, the highest that it pushes, from memory
)
