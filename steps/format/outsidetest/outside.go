// Package outsidetest finds the programs that tests ask for a second opinion.
package outsidetest

import (
	"os"
	"os/exec"
	"testing"
)

// Required tells whether tests must not do without an outside program: PLENILUNE_REQUIRE_TOOLS is set, as CI does.
func Required() bool { return os.Getenv("PLENILUNE_REQUIRE_TOOLS") != "" }

// Program finds a program. Where it is absent the test is skipped, or fails where it is required.
func Program(t testing.TB, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		absent(t, name)
	}
	return path
}

// Python finds a Python that has modules, as "tifffile, PIL". Where there is none the test is skipped, or fails where it is required.
func Python(t testing.TB, modules string) string {
	t.Helper()
	path := FindPython(modules)
	if path == "" {
		absent(t, "python3 with "+modules)
	}
	return path
}

// FindPython finds a Python that has modules, "" where there is none. The system's is asked first: a user's own often lacks
// the modules that the system's packages bring.
func FindPython(modules string) string {
	for _, p := range []string{"/usr/bin/python3", "python3"} {
		if exec.Command(p, "-c", "import "+modules).Run() == nil {
			return p
		}
	}
	return ""
}

func absent(t testing.TB, name string) {
	t.Helper()
	if Required() {
		t.Fatalf("%s is required here and absent", name)
	}
	t.Skipf("%s is absent: it is not asked for a second opinion", name)
}
