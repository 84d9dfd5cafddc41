package raw

// Sequence gathers where frames lie, in the order of the file, as few runs.
type Sequence struct {
	span   int64 // bytes of a frame
	runs   []Run
	frames int64
	end    int64 // behind the last frame
}

// NewSequence returns an empty sequence of frames of span bytes each.
func NewSequence(span int64) *Sequence { return &Sequence{span: span} }

// Frames returns how many frames were added.
func (s *Sequence) Frames() int64 { return s.frames }

// Add adds n frames, n ≥ 1, the first at a byte, with stride bytes from one to the
// next. It is false, and adds nothing, if they overlap each other or what was added
// before.
func (s *Sequence) Add(at, n, stride int64) bool {
	if at < s.end || n < 1 || n > 1 && stride < s.span {
		return false
	}
	if k := len(s.runs) - 1; k >= 0 {
		r := &s.runs[k]
		have := s.frames - r.Frame
		if have == 1 && (n == 1 || at-r.Offset == stride) {
			r.Stride = at - r.Offset
		}
		if at == r.Offset+have*r.Stride && (n == 1 || stride == r.Stride) {
			s.grow(at, n, r.Stride)
			return true
		}
		if have == 1 {
			r.Stride = s.span // nothing followed at the distance that the last two suggested
		}
	}
	s.runs = append(s.runs, Run{s.frames, at, max(stride, s.span)})
	s.grow(at, n, stride)
	return true
}

func (s *Sequence) grow(at, n, stride int64) {
	s.frames += n
	s.end = at + (n-1)*stride + s.span
}

// Place puts where the frames lie into a layout; otherwise is the byte of a first frame that
// is not there.
func (s *Sequence) Place(l *Layout, otherwise int64) {
	l.Offset, l.Stride, l.Runs = otherwise, s.span, nil
	if len(s.runs) > 0 {
		l.Offset, l.Stride = s.runs[0].Offset, s.runs[0].Stride
	}
	if len(s.runs) > 1 {
		l.Runs = s.runs
	}
}
