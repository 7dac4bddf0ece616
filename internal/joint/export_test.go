package joint

import (
	"groundwork/internal/geom"
	"groundwork/internal/piece"
)

// What the tests outside the package use of those inside it.
var (
	Bench    = bench
	Kernel   = &kernel
	AsSolids = asSolids
)

// RoundPieces are pieces whose members fit round each other.
func RoundPieces() []*piece.Piece {
	return []*piece.Piece{
		socketed(knock("", ""), bored("seat", 90, 120, 44, 14.2, geom.Vec3{}), post("leg", 14, -200, 22, geom.Vec3{})),
		socketed(knock("", ""), bored("seat", 140, 140, 44, 14, geom.V3(0, 0, 22)), shouldered("leg", 14, 44, geom.Vec3{})),
		coped(22, 0.3, 17, 60, knock("", "")),
	}
}
