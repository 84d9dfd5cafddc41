package pipeline

import "strconv"

// Counted is a number with what it counts, for people: "1 clip", "2 clips". It serves words whose plural ends in s.
func Counted(n int, what string) string {
	if n != 1 {
		what += "s"
	}
	return strconv.Itoa(n) + " " + what
}
