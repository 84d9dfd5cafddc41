// Package fits writes pictures as FITS files and reads their headers back: float32 or 16 bits, one plane a channel, with
// checksums, and without coordinates on the sky; bytes can be added behind a picture as a table.
//
// Source: FITS Standard 4.0 (IAU FITS Working Group 2018).
package fits

import (
	"fmt"
	"strconv"
	"strings"
)

// block is what everything in a file is padded to; a header's has 36 cards of 80 letters.
const (
	block = 2880
	wide  = 80
)

// Card is one line of a header. Value is a bool, int, float64 or string; of a comment it is nil.
type Card struct {
	Key     string
	Value   any
	Comment string
}

// text lays a card out in the fixed format (4.2), 80 letters. Texts must be ASCII; one that does not fit is cut.
func (c Card) text() string {
	var s string
	switch v := c.Value.(type) {
	case nil:
		s = fmt.Sprintf("%-8s%s", c.Key, c.Comment)
		return cut(s)
	case bool:
		s = fmt.Sprintf("%-8s= %20s", c.Key, map[bool]string{true: "T", false: "F"}[v])
	case int:
		s = fmt.Sprintf("%-8s= %20d", c.Key, v)
	case float64:
		s = fmt.Sprintf("%-8s= %20s", c.Key, number(v))
	case string:
		q := "'" + fmt.Sprintf("%-8s", strings.ReplaceAll(plain(v), "'", "''"))
		s = fmt.Sprintf("%-8s= %-20s", c.Key, q[:min(len(q), wide-11)]+"'")
	default:
		panic(fmt.Sprintf("fits: a card cannot hold a %T", c.Value))
	}
	if c.Comment != "" {
		s += " / " + c.Comment
	}
	return cut(s)
}

// number writes a float with a point or an exponent in capitals (4.2.4).
func number(v float64) string {
	s := strings.ToUpper(strconv.FormatFloat(v, 'g', -1, 64))
	if !strings.ContainsAny(s, ".E") {
		s += ".0"
	}
	return s
}

func cut(s string) string { return fmt.Sprintf("%-80s", plain(s))[:wide] }

// Lines breaks a text at blanks so that each piece fits a comment.
func Lines(text string) (out []string) {
	line := ""
	for _, word := range strings.Fields(text) {
		if line != "" && len(line)+1+len(word) > wide-8 {
			out, line = append(out, line), ""
		}
		line = strings.TrimSpace(line+" ") + " " + word
	}
	return append(out, line)
}

// plain replaces what a header may not hold (4.1.2.3).
func plain(s string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || r > '~' {
			return '?'
		}
		return r
	}, s)
}

// header lays cards out, with END and blanks up to a whole block.
func header(cards []Card) []byte {
	var b []byte
	for _, c := range cards {
		b = append(b, c.text()...)
	}
	b = append(b, fmt.Sprintf("%-80s", "END")...)
	return append(b, strings.Repeat(" ", (block-len(b)%block)%block)...)
}

// sum is the ones' complement sum of words of 32 bits (4.4.2.7, appendix J); bytes come in pieces whose lengths divide by four.
type sum struct{ s uint64 }

func (s *sum) add(b []byte) {
	for ; len(b) >= 4; b = b[4:] {
		s.s += uint64(b[0])<<24 | uint64(b[1])<<16 | uint64(b[2])<<8 | uint64(b[3])
	}
	s.s = s.s&0xffffffff + s.s>>32
}

func (s *sum) value() uint32 {
	v := s.s
	for v>>32 != 0 {
		v = v&0xffffffff + v>>32
	}
	return uint32(v)
}

// encodeSum writes the complement of a sum in 16 letters whose own sum it is (appendix J.2).
func encodeSum(v uint32) string {
	v = ^v
	var out [16]byte
	for i := range 4 {
		b := int(v >> (24 - 8*i) & 0xff)
		var part [4]int
		for k := range part {
			part[k] = b/4 + '0'
		}
		part[0] += b % 4
		for odd := true; odd; {
			odd = false
			for k := 0; k < 4; k += 2 {
				if punctuation(part[k]) || punctuation(part[k+1]) {
					part[k]++
					part[k+1]--
					odd = true
				}
			}
		}
		for k, c := range part {
			out[4*k+i] = byte(c)
		}
	}
	// The value of a card stands one byte off the words.
	return string(out[15:]) + string(out[:15])
}

// punctuation tells what the letters of a sum must not be.
func punctuation(c int) bool { return c > '9' && c < 'A' || c > 'Z' && c < 'a' }

// sealed returns a header with DATASUM and CHECKSUM, so that the words of header and data add up to nothing.
func sealed(cards []Card, data uint32) []byte {
	cards = append(cards, Card{"DATASUM", strconv.FormatUint(uint64(data), 10), "ones' complement sum of the data"})
	all := append(cards, Card{"CHECKSUM", strings.Repeat("0", 16), "that of header and data is nothing"})
	s := sum{uint64(data)}
	s.add(header(all))
	all[len(all)-1].Value = encodeSum(s.value())
	return header(all)
}
