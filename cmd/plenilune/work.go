package main

import (
	"runtime"
	"runtime/debug"

	"github.com/spf13/cobra"
)

// workFlags bound what the work of a verb takes of the machine.
type workFlags struct {
	jobs   int
	memory string
}

func (f *workFlags) add(cmd *cobra.Command) {
	fl := cmd.Flags()
	fl.IntVarP(&f.jobs, "jobs", "j", 0, "`N` workers (default: one a processor)")
	fl.StringVar(&f.memory, "memory", "", "`SIZE` of memory that the work may take, as in 4GB (default: half of what is free)")
}

// bounds are how many workers there may be, and the bytes of memory that parts may take together.
func (f *workFlags) bounds() (jobs int, memory int64, err error) {
	if f.jobs < 0 {
		return 0, 0, requestf("-j %d: want at least 1 worker", f.jobs)
	}
	if jobs = f.jobs; jobs == 0 {
		jobs = runtime.GOMAXPROCS(0)
	}
	memory, err = f.budget()
	return jobs, memory, err
}

// budget is the memory that parts may take together, and tells the runtime.
func (f *workFlags) budget() (int64, error) {
	budget := int64(1 << 30)
	if free := freeBytes(); free > 0 {
		budget = free / 2
	}
	if f.memory != "" {
		n, err := parseBytes("--memory", f.memory)
		if err != nil {
			return 0, err
		}
		budget = n
	}
	// The runtime needs a floor to work in: a limit below it only burns time.
	debug.SetMemoryLimit(max(budget, 256<<20))
	return budget, nil
}
