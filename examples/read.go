package examples

import (
	"fmt"

	"groundwork/internal/piece"
	"groundwork/internal/shop"
)

// Piece is a piece of the library as its file says, with parameters set by name;
// what the file is told of is left aside.
func Piece(name string, set map[string]string) (*piece.Piece, error) {
	data, err := Files.ReadFile(name + ".yaml")
	if err != nil {
		return nil, fmt.Errorf("examples: %w", err)
	}
	doc, err := piece.Parse(name+".yaml", data)
	if err != nil {
		return nil, fmt.Errorf("examples: %w", err)
	}
	p, _, err := doc.Resolve(set)
	if err != nil {
		return nil, fmt.Errorf("examples: %w", err)
	}
	return p, nil
}

// Shop is the shop to plan the library in.
func Shop() (*shop.Shop, error) {
	data, err := Files.ReadFile("shop.yaml")
	if err != nil {
		return nil, fmt.Errorf("examples: %w", err)
	}
	return shop.Parse("shop.yaml", data)
}
