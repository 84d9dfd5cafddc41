package main

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"plenilune/pipeline"
)

// The summary for machines has the elements of JUnit reports that all readers agree on, as Apache Ant's formatter writes them and
// junit-10.xsd of the Jenkins project's xUnit plugin describes them. It holds no time, so that equal results give equal bytes.
type junitReport struct {
	XMLName xml.Name     `xml:"testsuites"`
	Suites  []junitSuite `xml:"testsuite"`
}

type junitSuite struct {
	Name     string      `xml:"name,attr"`
	Tests    int         `xml:"tests,attr"`
	Failures int         `xml:"failures,attr"`
	Errors   int         `xml:"errors,attr"`
	Skipped  int         `xml:"skipped,attr"`
	Cases    []junitCase `xml:"testcase"`
}

type junitCase struct {
	Class   string        `xml:"classname,attr"`
	Name    string        `xml:"name,attr"`
	Failure *junitTrouble `xml:"failure"` // it is not what it should be
	Error   *junitTrouble `xml:"error"`   // it could not be told
	Skipped *junitSkipped `xml:"skipped"` // its pixels are what they should be, and its bytes cannot be told
}

type junitTrouble struct {
	Type    string `xml:"type,attr"`
	Message string `xml:"message,attr"`
	Text    string `xml:",chardata"`
}

type junitSkipped struct {
	Message string `xml:"message,attr"`
}

// junitOf makes a case of each file compared and of each part of the work that failed.
func junitOf(v comparison) junitReport {
	s := junitSuite{Name: filepath.Base(v.file)}
	for _, p := range v.proofs {
		c := junitCase{Class: "file", Name: p.File}
		switch p.State {
		case pipeline.Proven:
		case pipeline.Alike:
			c.Skipped = &junitSkipped{p.Reason}
		case pipeline.Unmade:
			c.Error = &junitTrouble{Type: string(p.State), Message: p.Reason}
		default:
			c.Failure = &junitTrouble{Type: string(p.State), Message: p.Reason, Text: whereApart(p)}
		}
		s.Cases = append(s.Cases, c)
	}
	for _, e := range v.failed {
		s.Cases = append(s.Cases, junitCase{Class: "part", Name: e.Step, Error: &junitTrouble{Type: string(e.State), Message: fmt.Sprint(e.Err)}})
	}
	for _, c := range s.Cases {
		s.Tests++
		if c.Failure != nil {
			s.Failures++
		}
		if c.Error != nil {
			s.Errors++
		}
		if c.Skipped != nil {
			s.Skipped++
		}
	}
	return junitReport{Suites: []junitSuite{s}}
}

// whereApart tells at which part a file and the same made anew go apart, and what differs there.
func whereApart(p pipeline.Proof) string {
	var b strings.Builder
	if p.Step != "" {
		fmt.Fprintf(&b, "first at %s\n", p.Step)
	}
	for _, c := range p.Change {
		fmt.Fprintf(&b, "%s: %s → %s\n", c.What, orNone(c.Old), orNone(c.New))
	}
	return b.String()
}

func (r junitReport) write(file string) error {
	b, err := xml.MarshalIndent(r, "", "  ")
	if err != nil {
		return fmt.Errorf("make the summary: %w", err)
	}
	if err := pipeline.WriteWhole(file, []byte(xml.Header+string(b)+"\n")); err != nil {
		return fmt.Errorf("write the summary: %w", err)
	}
	return nil
}

// junitOrNothing refuses to write a summary over what is none, before anything is computed. An empty file holds nothing to lose.
func junitOrNothing(file string) error {
	if file == "" {
		return nil
	}
	if st, err := os.Stat(filepath.Dir(file)); err != nil || !st.IsDir() {
		return requestf("write the summary: there is no folder %s", filepath.ToSlash(filepath.Dir(file)))
	}
	st, err := os.Stat(file)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err == nil && st.Mode().IsRegular() && (st.Size() == 0 || isJUnit(file)) {
		return nil
	}
	return requestf("--junit %s: it stands there and is no such summary: name another file", filepath.ToSlash(file))
}

// isJUnit tells whether a file is a summary, by its outermost element.
func isJUnit(file string) bool {
	f, err := os.Open(file)
	if err != nil {
		return false
	}
	defer f.Close()
	d := xml.NewDecoder(io.LimitReader(f, 1<<16))
	for {
		t, err := d.Token()
		if err != nil {
			return false
		}
		if e, ok := t.(xml.StartElement); ok {
			return e.Name.Local == "testsuites"
		}
	}
}
