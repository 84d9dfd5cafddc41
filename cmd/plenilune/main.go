// Command plenilune turns a night of short raw clips of the Moon into one
// joined, detailed picture, rerunning only what changed.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"

	"github.com/spf13/cobra"

	"plenilune/pipeline"
)

// The exit codes that scripts rely on.
const (
	exitDone        = 0
	exitFailed      = 1
	exitRequest     = 2
	exitDiffers     = 3
	exitInterrupted = 130
)

func main() { os.Exit(run(os.Args[1:], os.Stdout, os.Stderr)) }

// run is main with its surroundings passed in.
func run(args []string, stdout, stderr io.Writer) int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	stdout, stderr = harmless{stdout}, harmless{stderr}
	root := newRoot()
	root.SetArgs(args)
	root.SetOut(stdout)
	root.SetErr(stderr)
	return exitCode(ctx, root.ExecuteContext(ctx), stderr)
}

func exitCode(ctx context.Context, err error, stderr io.Writer) int {
	var request *pipeline.RequestError
	var told *toldError
	switch {
	case errors.Is(err, errServed):
		return exitDone
	case ctx.Err() != nil:
		fmt.Fprintln(stderr, "plenilune: interrupted; the next run goes on from here")
		return exitInterrupted
	case err == nil:
		return exitDone
	case errors.As(err, &told):
		return told.code
	case errors.As(err, &request):
		fmt.Fprintln(stderr, "plenilune:", err)
		return exitRequest
	}
	fmt.Fprintln(stderr, "plenilune:", err)
	return exitFailed
}

// toldError ends the program with a code after the user was told why.
type toldError struct{ code int }

func (e *toldError) Error() string { return fmt.Sprintf("exit %d", e.code) }

func requestf(format string, args ...any) error {
	return &pipeline.RequestError{Text: fmt.Sprintf(format, args...)}
}

func newRoot() *cobra.Command {
	root := &cobra.Command{
		Use:   "plenilune",
		Short: "From a night of raw clips to the whole Moon, reproducibly",
		Long: `plenilune turns a night of short raw clips, each of one panel of the Moon, into one
joined and detailed disk. A manifest says what goes in and how; only what changed
is computed again; every picture carries the record of how it was made.

  plenilune new CLIPSDIR      writes the manifest for a folder of clips, night.hcl
  plenilune run night.hcl     makes the pictures, in night-out

Results go to stdout, everything else to stderr. Exit codes: 0 done, 1 the work failed
in part, 2 the request or the manifest is wrong, 3 verify found a difference, 130
interrupted.

Caution: never point a telescope or its finder near the Sun. Sunlight through any
lens blinds at once and starts fires. By day, or near a thin crescent, use only
certified full-aperture filters and follow their makers' and local rules.`,
		SilenceUsage:  true,
		SilenceErrors: true,
		Args:          cobra.NoArgs,
		RunE:          func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	root.SetFlagErrorFunc(func(cmd *cobra.Command, err error) error {
		return requestf("%v; see %s --help", err, cmd.CommandPath())
	})
	root.AddCommand(demoCommand(), newCommand(), surveyCommand(), watchCommand(), checkCommand(), runCommand(), whyCommand(), teststripCommand(), traceCommand(), viewCommand(), verifyCommand(), cacheCommand())
	for _, c := range root.Commands() {
		wrapArgs(c)
	}
	return root
}

// wrapArgs makes wrong arguments a wrong request, exit code 2.
func wrapArgs(c *cobra.Command) {
	if check := c.Args; check != nil {
		c.Args = func(cmd *cobra.Command, args []string) error {
			if err := check(cmd, args); err != nil {
				return requestf("%s: %v; see %s --help", cmd.Name(), err, cmd.CommandPath())
			}
			return nil
		}
	}
	for _, sub := range c.Commands() {
		wrapArgs(sub)
	}
}
