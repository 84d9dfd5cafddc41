package main

import (
	"fmt"
	"io"
	"regexp"
	"strings"

	"github.com/spf13/cobra"

	"plenilune/pipeline"
)

func whyCommand() *cobra.Command {
	var f runFlags
	var all bool
	cmd := &cobra.Command{
		Use:   "why FILE",
		Short: "Say what the next run would compute, and which change makes it so",
		Long: `why compares a manifest with the last finished run of it into the same output
folder, and says for each part: same, known (changed, and in the cache already),
will run, may run (it depends on a result that is not there yet), or gone. It
computes nothing; a capture is read only if its content is not remembered.`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			m, err := loadManifest(cmd.ErrOrStderr(), args[0], f.clips, f.set)
			if err != nil {
				return err
			}
			c, err := f.open(cmd.Context(), cmd.ErrOrStderr())
			if err != nil {
				return err
			}
			defer c.Close()
			verdicts, had, err := pipeline.Why(cmd.Context(), m, c, outDir(args[0], f.out))
			if err != nil {
				return err
			}
			if f.json {
				showVerdictsJSON(newScreen(cmd.OutOrStdout(), cmd.ErrOrStderr(), true), verdicts)
				return nil
			}
			showVerdicts(cmd.OutOrStdout(), verdicts, had, all)
			return nil
		},
	}
	f.cacheFlags.add(cmd)
	fl := cmd.Flags()
	fl.BoolVar(&f.json, "json", false, "print one JSON object a line on stdout")
	fl.BoolVar(&all, "all", false, "list the parts that stay the same, too")
	fl.StringVarP(&f.out, "out", "o", "", "output `DIR` of the run to compare with")
	fl.StringVar(&f.clips, "clips", "", "look for the manifest's files under `DIR` instead")
	fl.StringArrayVar(&f.set, "set", nil, "`NAME=VALUE` replaces an entry of the manifest's settings block; may be repeated")
	return cmd
}

func showVerdictsJSON(s *screen, verdicts []pipeline.Verdict) {
	for _, v := range verdicts {
		changes := []map[string]string{}
		for _, c := range v.Changes {
			changes = append(changes, map[string]string{"what": c.What, "old": c.Old, "new": c.New})
		}
		s.object(map[string]any{"event": "verdict", "step": v.Step, "state": v.State, "changes": changes})
	}
}

// clipPart is what tells one clip's part from another's in a step's name.
var clipPart = regexp.MustCompile(`:.*/`)

// showVerdicts prints verdicts, those alike but for the clip in one line.
func showVerdicts(w io.Writer, verdicts []pipeline.Verdict, had, all bool) {
	if !had {
		fmt.Fprintln(w, "there is no finished run of this manifest into this folder to compare with")
	}
	count := map[pipeline.VerdictState]int{}
	type group struct {
		head  string
		lines string
		steps []string
	}
	var groups []*group
	index := map[string]*group{}
	for _, v := range verdicts {
		count[v.State]++
		if v.State == pipeline.Same && !all {
			continue
		}
		var lines strings.Builder
		for _, c := range v.Changes {
			fmt.Fprintf(&lines, "            %s: %s → %s\n", c.What, orNone(c.Old), orNone(c.New))
		}
		key := string(v.State) + clipPart.ReplaceAllString(v.Step, "/") + lines.String()
		g := index[key]
		if g == nil {
			g = &group{head: string(v.State), lines: lines.String()}
			index[key] = g
			groups = append(groups, g)
		}
		g.steps = append(g.steps, v.Step)
	}
	for _, g := range groups {
		name := g.steps[0]
		if len(g.steps) > 1 {
			name = fmt.Sprintf("%s (%d clips)", clipPart.ReplaceAllString(name, "/"), len(g.steps))
		}
		fmt.Fprintf(w, "%-9s %s\n%s", g.head, name, g.lines)
	}
	var words []string
	for _, s := range []pipeline.VerdictState{pipeline.Same, pipeline.Known, pipeline.WillRun, pipeline.MayRun, pipeline.Gone} {
		if count[s] > 0 {
			words = append(words, fmt.Sprintf("%d %s", count[s], s))
		}
	}
	if len(words) == 0 {
		words = []string{"no parts"}
	}
	fmt.Fprintln(w, strings.Join(words, ", "))
}

func orNone(s string) string {
	if s == "" {
		return "(none)"
	}
	return s
}
