// Command measure runs a command again and again and says what it took: the
// median of wall-clock and processor seconds, and the largest memory.
//
//	go run ./tools/measure 10 bin/groundwork plan …
package main

import (
	"fmt"
	"os"
	"os/exec"
	"slices"
	"strconv"
	"syscall"
	"time"
)

func main() {
	if len(os.Args) < 3 {
		fmt.Fprintln(os.Stderr, "usage: measure TIMES COMMAND [ARGUMENT …]")
		os.Exit(2)
	}
	n, err := strconv.Atoi(os.Args[1])
	if err != nil || n < 1 {
		fmt.Fprintf(os.Stderr, "measure: %q is no number of times\n", os.Args[1])
		os.Exit(2)
	}
	var wall, cpu []float64
	var most int64 // KiB, as Linux gives it
	for range n {
		c := exec.Command(os.Args[2], os.Args[3:]...)
		c.Stderr = os.Stderr
		start := time.Now()
		if err := c.Run(); err != nil {
			fmt.Fprintln(os.Stderr, "measure:", err)
			os.Exit(1)
		}
		wall = append(wall, time.Since(start).Seconds())
		cpu = append(cpu, (c.ProcessState.UserTime() + c.ProcessState.SystemTime()).Seconds())
		if u, ok := c.ProcessState.SysUsage().(*syscall.Rusage); ok {
			most = max(most, u.Maxrss)
		}
	}
	slices.Sort(wall)
	slices.Sort(cpu)
	fmt.Printf("%d runs: median %.2f s (%.2f to %.2f), processor %.2f s, memory at most %d MiB\n", n, wall[n/2], wall[0], wall[n-1], cpu[n/2], most/1024)
}
