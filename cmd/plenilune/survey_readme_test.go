package main

import (
	"bytes"
	"os"
	"strings"
	"testing"
)

// The night block that the README shows is the example that a script surveys.
func TestReadmeShowsTheNight(t *testing.T) {
	readme, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	example, err := os.ReadFile("../../examples/night.hcl")
	if err != nil {
		t.Fatal(err)
	}
	_, body, _ := strings.Cut(string(example), "\n") // without its first remark
	indented := ""
	for line := range strings.Lines(body) {
		indented += "    " + line
	}
	if !bytes.Contains(readme, []byte(indented)) {
		t.Errorf("the README does not show\n%s", indented)
	}
}
