// Package api serves the page in the browser: the maker's folder, plans as they
// are made, and searches for tighter layouts, over HTTP on this machine.
package api

import (
	"reflect"
	"time"
)

// Limits of ordinary requests; uploads have their own.
const (
	maxRequest  = 4 << 20 // bytes
	requestTime = 10 * time.Second
)

// Server is the program as the page sees it.
type Server struct {
	desk     *desk
	plans    *plans
	searches *searches
}

func typeOf[T any]() reflect.Type { return reflect.TypeFor[T]() }
