//go:build long

package store

func init() { kills = 1000 }
