package pipeline

import (
	"bytes"
	"fmt"
	"strings"

	"github.com/hashicorp/hcl/v2"
	"github.com/hashicorp/hcl/v2/hclsyntax"
)

// Bounds that no honest manifest meets; they keep a hostile one from exhausting
// the stack of a parser that recurses.
const (
	maxSource  = 160 << 10 // bytes: the parser takes some hundred times as much
	maxNesting = 50        // brackets in brackets
	maxRun     = 1000      // tokens of one expression without a comma
)

// parseManifest returns the body, possibly in part, and whether it is whole.
func parseManifest(file string, src []byte, d *Diagnostics) (*hclsyntax.Body, bool) {
	if len(src) > maxSource {
		d.fault(Range{File: file}, fmt.Sprintf("this file has %d bytes; a manifest has at most %d", len(src), maxSource),
			"is it a manifest? Name clips by patterns such as \"clips/*.ser\" instead of one by one")
		return nil, false
	}
	if r, ok := tooDeep(file, src); ok {
		d.fault(rangeOf(r), "this is nested too deeply or too long to be read",
			"write the value itself, or put it in settings under a name")
		return nil, false
	}
	f, diags := hclsyntax.ParseConfig(src, file, hcl.InitialPos)
	for _, x := range diags {
		d.list = append(d.list, carried(x))
	}
	if f == nil {
		return nil, false
	}
	body, ok := f.Body.(*hclsyntax.Body)
	return body, ok && !diags.HasErrors()
}

func tooDeep(file string, src []byte) (hcl.Range, bool) {
	tokens, _ := hclsyntax.LexConfig(src, file, hcl.InitialPos)
	var open []hclsyntax.TokenType
	run := 0
	for _, t := range tokens {
		run++
		switch t.Type {
		case hclsyntax.TokenOBrace, hclsyntax.TokenOBrack, hclsyntax.TokenOParen, hclsyntax.TokenTemplateInterp, hclsyntax.TokenTemplateControl:
			open = append(open, t.Type)
		case hclsyntax.TokenCBrace, hclsyntax.TokenCBrack, hclsyntax.TokenCParen, hclsyntax.TokenTemplateSeqEnd:
			if len(open) > 0 {
				open = open[:len(open)-1]
			}
		case hclsyntax.TokenComma:
			run = 0
		case hclsyntax.TokenNewline:
			if len(open) == 0 || open[len(open)-1] == hclsyntax.TokenOBrace {
				run = 0
			}
		}
		if len(open) > maxNesting || run > maxRun {
			return t.Range, true
		}
	}
	return hcl.Range{}, false
}

// sayings puts the parser's most frequent complaints into this manifest's words.
var sayings = map[string]struct{ text, hint string }{
	"Invalid single-argument block definition": {"a block on one line holds at most one setting", "give each setting a line of its own between { and }"},
	"Argument definition required":             {"a block on one line holds only a setting, and nothing follows it", "give each setting and each block a line of its own"},
	"Argument or block definition required":    {"a setting or a block should stand here", "write NAME = VALUE, or KIND \"NAME\" { and } around its settings"},
	"Invalid argument name":                    {"the name of a setting stands without quotes", "write NAME = VALUE"},
	"Invalid block definition":                 {"this block does not begin as a block does", "write KIND \"NAME\" { on one line, without ="},
	"Unclosed configuration block":             {"this block is never closed", "add } after its last setting; the block meant may also be one inside it"},
	"Unclosed configuration body":              {"the file ends inside a block", "add the missing }"},
	"Missing newline after block definition":   {"something follows } on its line", "begin a new line after }"},
	"Missing newline after argument":           {"something follows the value on its line", "give each setting a line of its own; put text in quotes"},
	"Missing item separator":                   {"a comma is missing in this list", "write [\"first\", \"second\"]"},
	"Unterminated tuple constructor expression": {"this list is never closed",
		"add the missing ]"},
	"Unbalanced parentheses":       {"a closing parenthesis is missing", "add the missing )"},
	"Invalid multi-line string":    {"the text ends without a quote", "close it with \" on the same line"},
	"Unterminated template string": {"the text ends without a quote", "close it with \" on the same line"},
	"Unterminated string literal":  {"the text ends without a quote", "close it with \" on the same line"},
	"Invalid escape sequence":      {"a backslash in a text needs something after it that it can stand for", "write \\\\ for one backslash; in paths write / on every system"},
	"Invalid expression":           {"a value should stand here", "write a number, true or false, a text in quotes, or settings.NAME"},
	"Missing expression":           {"a value should stand here", "write a number, true or false, a text in quotes, or settings.NAME"},
	"Invalid number literal":       {"this number cannot be read", "write it like 0.3, 12 or 1.5e3"},
	"Invalid character encoding":   {"the file is not in UTF-8 from here on", "save it as UTF-8"},
	"Invalid attribute name":       {"a name should follow the dot", "write settings.NAME, or KIND.NAME for a block"},
	"Unsupported operator":         {"this operator does not exist in a manifest", "numbers take + - * / and parentheses"},
}

// carried turns the parser's diagnostic into ours.
func carried(x *hcl.Diagnostic) Diagnostic {
	out := Diagnostic{Warning: x.Severity == hcl.DiagWarning}
	if x.Subject != nil {
		out.Range = rangeOf(*x.Subject)
	}
	if s, ok := sayings[x.Summary]; ok {
		out.Text, out.Hint = s.text, s.hint
		return out
	}
	out.Text, out.Hint = plainText(x.Summary), plainText(x.Detail)
	return out
}

// plainText begins small and ends without a full stop, on one line.
func plainText(s string) string {
	s = strings.Join(strings.Fields(s), " ")
	if len(s) > 1 && s[0] >= 'A' && s[0] <= 'Z' && s[1] >= 'a' && s[1] <= 'z' {
		s = strings.ToLower(s[:1]) + s[1:]
	}
	return strings.TrimSuffix(s, ".")
}

// withoutMark drops the byte order mark that some editors put first.
func withoutMark(src []byte) []byte { return bytes.TrimPrefix(src, []byte("\xef\xbb\xbf")) }
