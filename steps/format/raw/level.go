package raw

// Level says how samples fill their words.
type Level struct {
	Bits  int     // true bits a sample
	White float64 // the largest value that a sample can have, in sample units
	High  bool    // the true bits stand at the top of the word, with zeros below

	// Odd tells that samples do not fit the declared depth, which was not used.
	Odd bool
	// Doubt, if not 0, is a smaller depth at whose top a clip declared as 16 bit
	// seems to saturate. It is not acted upon: a dim clip of the same night would
	// show nothing of the kind, and must not get another white level.
	Doubt int
}

const (
	strayShare = 1000 // one sample in so many may break a rule: a torn frame is no evidence
	fewLevels  = 6    // so many different values must keep a rule before it counts
	pileCount  = 32   // so many samples make a pile at saturation
)

// Level finds the white level for a declared depth, in the given byte order. It
// does not depend on how bright the clip is: it looks at which bits are used.
func (e *Evidence) Level(depth int, big bool) Level {
	full := 1<<e.bits - 1
	right := Level{Bits: depth, White: float64(int(1)<<depth - 1)}
	if depth >= e.bits {
		right = Level{Bits: e.bits, White: float64(full)}
		for _, zeros := range []int{8, 6, 4, 2} { // cameras of 8, 10, 12, 14 bits
			if e.bits == 16 && e.zerosBelow(zeros, big) {
				return Level{Bits: 16 - zeros, White: float64(full &^ (1<<zeros - 1)), High: true}
			}
		}
		right.Doubt = e.pile(big)
		return right
	}
	over := e.over(depth, big)
	zeros := e.bits - depth
	if e.zerosBelow(zeros, big) {
		return Level{Bits: depth, White: float64(full &^ (1<<zeros - 1)), High: true}
	}
	if over*strayShare > e.total() {
		return Level{Bits: e.bits, White: float64(full), Odd: true}
	}
	return right
}

func (e *Evidence) total() (n uint64) {
	for _, c := range e.count {
		n += uint64(c)
	}
	return n
}

// zerosBelow tells whether the lowest bits of every sample are zero, as when a
// camera's samples were shifted to the top of their words. Samples of value 0
// tell nothing.
func (e *Evidence) zerosBelow(bits int, big bool) bool {
	levels, keep, stray := 0, uint64(0), uint64(0)
	for v, c := range e.count {
		w := e.word(v, big)
		switch {
		case c == 0 || w == 0:
		case w&(1<<bits-1) == 0:
			levels++
			keep += uint64(c)
		default:
			stray += uint64(c)
		}
	}
	return levels >= fewLevels && stray*strayShare <= keep
}

// pile returns 10, 12 or 14 if the samples end in a pile at the top of so many bits.
func (e *Evidence) pile(big bool) int {
	if e.bits != 16 {
		return 0
	}
	for _, bits := range []int{10, 12, 14} {
		top := 1<<bits - 1
		at, below := e.count[e.word(top, big)], e.count[e.word(top-1, big)]
		if at >= pileCount && at/4 > below && e.over(bits, big) == 0 {
			return bits
		}
	}
	return 0
}
