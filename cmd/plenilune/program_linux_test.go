package main

import (
	"bytes"
	"strings"
	"testing"
)

// TestProgramMemory: the bound that README names holds once the program was begun.
func TestProgramMemory(t *testing.T) {
	stub(t, "ffmpeg", `while [ "$(ulimit -v)" = unlimited ]; do sleep 0.01; done; ulimit -v`)
	var out bytes.Buffer
	if _, err := (programs{}).Run(t.Context(), "ffmpeg", nil, &out); err != nil || strings.TrimSpace(out.String()) != "6291456" {
		t.Errorf("bounded to %q KiB (%v), want 6 GiB", strings.TrimSpace(out.String()), err)
	}
}
