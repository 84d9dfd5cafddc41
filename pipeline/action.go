package pipeline

import (
	"bytes"
	"fmt"
	"strings"
)

// actionText is the canonical text of one part on its inputs; its SHA-256 is the
// part's key. Nothing of the build, the host, the time or any name is in it.
func actionText(step string, p Part, ins []boundInput) ([]byte, error) {
	set, err := canonicalSettings(p.Settings)
	if err != nil {
		return nil, fmt.Errorf("settings of %s/%s: %w", step, p.Name, err)
	}
	var b bytes.Buffer
	fmt.Fprintf(&b, "plenilune action 1\npart %s/%s %d\n", step, p.Name, p.Version)
	for _, s := range set {
		fmt.Fprintf(&b, "set %s\n", s)
	}
	for _, in := range ins {
		fmt.Fprintf(&b, "in %s %s\n", in.port, in.src.id)
	}
	for _, o := range p.Out {
		fmt.Fprintf(&b, "out %s\n", o)
	}
	return b.Bytes(), nil
}

// action is an action text taken apart again, for comparing and for showing.
type action struct {
	part    string // "stacks/mean"
	version string
	set     []pair
	in      []pair
}

type pair struct{ name, value string }

func parseAction(text []byte) (action, error) {
	var a action
	lines := strings.Split(strings.TrimSuffix(string(text), "\n"), "\n")
	if lines[0] != "plenilune action 1" {
		return a, fmt.Errorf("parse action: it begins with %q", lines[0])
	}
	for _, l := range lines[1:] {
		kind, rest, _ := strings.Cut(l, " ")
		name, value, _ := strings.Cut(rest, " ")
		switch kind {
		case "part":
			a.part, a.version = name, value
		case "set":
			a.set = append(a.set, pair{name, value})
		case "in":
			a.in = append(a.in, pair{name, value})
		case "out":
		default:
			return a, fmt.Errorf("parse action: unknown line %q", l)
		}
	}
	return a, nil
}
