package pipeline

import (
	"math"
	"strconv"
	"strings"
)

// near returns the word of a list that was most likely meant, or "". Distance is
// the number of letters left out, added, changed or swapped (Damerau 1964).
func near(word string, list []string) string {
	best, bestAt := "", 1+max(1, min(3, len([]rune(word))/3))
	for _, w := range list {
		if w == word {
			continue
		}
		if d := distance(strings.ToLower(word), strings.ToLower(w)); d < bestAt {
			best, bestAt = w, d
		}
	}
	if best != "" {
		return best
	}
	for _, w := range list { // "focal_length" for "focal_length_mm"
		if len(word) >= 3 && (strings.HasPrefix(w, word) || strings.HasPrefix(word, w) && len(w) >= 3) && w != word {
			return w
		}
	}
	return ""
}

func distance(a, b string) int {
	s, t := []rune(a), []rune(b)
	if d := len(s) - len(t); d > 3 || d < -3 {
		return 4 // further than any that is offered
	}
	rows := [3][]int{make([]int, len(t)+1), make([]int, len(t)+1), make([]int, len(t)+1)}
	for j := range rows[0] {
		rows[0][j] = j
	}
	for i := 1; i <= len(s); i++ {
		two, prev, cur := rows[(i+1)%3], rows[(i-1)%3], rows[i%3]
		cur[0] = i
		for j := 1; j <= len(t); j++ {
			cost := 1
			if s[i-1] == t[j-1] {
				cost = 0
			}
			cur[j] = min(prev[j]+1, cur[j-1]+1, prev[j-1]+cost)
			if i > 1 && j > 1 && s[i-1] == t[j-2] && s[i-2] == t[j-1] {
				cur[j] = min(cur[j], two[j-2]+1)
			}
		}
	}
	return rows[len(s)%3][len(t)]
}

// listing joins words as a sentence does: "a, b or c".
func listing(words []string, last string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	n := len(words) - 1
	return strings.Join(words[:n], ", ") + " " + last + " " + words[n]
}

func quoted(words []string) []string {
	out := make([]string, len(words))
	for i, w := range words {
		out[i] = strconv.Quote(w)
	}
	return out
}

// meant is the hint for a word that is not in a list.
func meant(word string, list []string, otherwise string) string {
	if w := near(word, list); w != "" {
		return "did you mean " + w + "?"
	}
	return otherwise
}

var units = []struct{ suffix, unit string }{
	{"_mm", "mm"}, {"_um", "µm"}, {"_nm", "nm"}, {"_m", "m"}, {"_px", "px"}, {"_arcsec", "arcsec"},
	{"_arcmin", "arcmin"}, {"_deg", "°"}, {"_pct", "%"}, {"_sigma", "σ"}, {"_s", "s"}, {"_ms", "ms"}, {"_min", "min"}, {"_h", "h"},
}

// unitOf is the unit that a setting's name ends in, or "".
func unitOf(name string) string {
	for _, u := range units {
		if strings.HasSuffix(name, u.suffix) {
			return u.unit
		}
	}
	return ""
}

// withUnit writes a number for people, with its unit.
func withUnit(v float64, unit string) string {
	s := number(v)
	switch unit {
	case "":
		return s
	case "°":
		return s + unit
	}
	return s + " " + unit
}

func number(v float64) string {
	if a := math.Abs(v); a != 0 && (a < 1e-4 || a >= 1e15) {
		return strconv.FormatFloat(v, 'g', -1, 64)
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}
