package main

import (
	"encoding/xml"
	"fmt"
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
	Cases    []junitCase `xml:"testcase"`
}

type junitCase struct {
	Class   string        `xml:"classname,attr"`
	Name    string        `xml:"name,attr"`
	Failure *junitTrouble `xml:"failure"` // it is not what it should be
	Error   *junitTrouble `xml:"error"`   // it could not be told
}

type junitTrouble struct {
	Type    string `xml:"type,attr"`
	Message string `xml:"message,attr"`
	Text    string `xml:",chardata"`
}

// junitOf makes a case of each file compared and of each part of the work that failed.
func junitOf(v comparison) junitReport {
	s := junitSuite{Name: filepath.Base(v.file)}
	for _, p := range v.proofs {
		c := junitCase{Class: "file", Name: p.File}
		switch p.State {
		case pipeline.Proven:
		case pipeline.Unmade, pipeline.Alike:
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
	if err := os.WriteFile(file, []byte(xml.Header+string(b)+"\n"), 0o644); err != nil {
		return fmt.Errorf("write the summary: %w", err)
	}
	return nil
}
