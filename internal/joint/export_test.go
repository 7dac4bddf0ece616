package joint

// What the tests outside the package use of those inside it.
var (
	Bench  = bench
	Kernel = &kernel
)
