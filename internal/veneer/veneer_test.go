package veneer

import (
	"fmt"
	"math"
	"testing"

	"groundwork/internal/geom"
	"groundwork/internal/piece"
)

func TestEllipseRim(t *testing.T) {
	// A rim longer than a bed of 600 mm: bands with laps.
	top := board("top", ellipse(230, 170), 19, lifted(500))
	r := run(t, pieceOf(piece.CoreSize, top), nil, nil, testShop(600, 300), Options{})
	t.Log(r.ids())
	for _, p := range r.patterns {
		t.Logf("%s %s L %.4f W %.4f net %.2f gross %.2f %s fingers %d %s", p.ID, p.Kind, p.Length, p.Width, p.NetArea, p.GrossArea, p.Release, p.Fingers, p.Lap)
	}
	for _, l := range r.l.Laps {
		t.Logf("%+v", l)
	}
	for _, f := range r.found {
		t.Log(f)
	}
	var bands []Pattern
	for _, p := range r.patterns {
		if p.Kind == Band {
			bands = append(bands, p)
		}
	}
	draw(t, "rim", bands...)
	_ = math.Pi
	_ = geom.Vec2{}
}

func TestDrawFingers(t *testing.T) {
	for _, w := range []float64{38, 70} {
		top := board("top", ellipse(230, 170), w-1.6, lifted(500))
		r := run(t, pieceOf(piece.CoreSize, top), nil, nil, testShop(600, 400), Options{})
		draw(t, fmt.Sprintf("band%g", w), r.by["top/edge-1/band-1"])
	}
}
