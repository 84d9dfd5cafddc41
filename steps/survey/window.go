package survey

import "time"

// Window is when to shoot.
type Window struct {
	From, To time.Time

	GoodFrom, GoodTo time.Time // the stretch around it with such light
	WishDeg          float64   // and the Moon at least so high
	Light            Light     // the brightest in it
	LeastDeg         float64   // the Moon's lowest altitude in it
	MostDeg          float64
	Capped           float64 // altitude above which the field would turn too fast; 0 where none is
	Short            bool    // it ends before all panels are shot
	Low              bool    // the Moon is lower in it than asked for
}

// wish is what a window is looked for with.
type wish struct {
	least float64 // altitude in degrees
	most  float64
	light Light
	shade bool // an eclipse does not matter
}

func (w wish) met(s Sample) bool {
	if s.Shaded && !w.shade || s.AltitudeDeg < w.least || s.AltitudeDeg > w.most || !s.Above() || s.SunApartDeg < leastSunDeg {
		return false
	}
	switch w.light {
	case Dark:
		return s.Light() == Dark
	case Twilight:
		return s.Light() != Daylight
	}
	return true
}

// window returns the stretch of a length through which the Moon's lowest altitude is highest: in the dark and as high as asked for, else in
// twilight, else lower, else shorter, else by day, else in the Earth's shadow. Nil if the Moon is nowhere more than 5° high and 10° from the Sun.
func (s *Sky) window(length time.Duration, least, most float64) *Window {
	for _, w := range wishes(least, most) {
		for _, part := range []time.Duration{length, length / 2, trackStep} {
			for _, one := range w {
				if found := s.best(one, length, part); found != nil {
					found.Low, found.WishDeg = found.LeastDeg < least, one.least
					return found
				}
			}
		}
	}
	return nil
}

// wishes are those to be tried in turn; of each set all, before a shorter stretch is taken.
func wishes(least, most float64) (out [][]wish) {
	heights := []float64{least}
	for _, h := range []float64{10, 5} {
		if h < least {
			heights = append(heights, h)
		}
	}
	for _, shade := range []bool{false, true} {
		for _, lights := range [][]Light{{Dark, Twilight}, {Daylight}} {
			var set []wish
			for _, h := range heights {
				for _, l := range lights {
					set = append(set, wish{h, most, l, shade})
				}
			}
			out = append(out, set)
		}
	}
	return out
}

// best returns the best stretch of at least a part of the length.
func (s *Sky) best(w wish, length, part time.Duration) *Window {
	need := int((length + trackStep - 1) / trackStep)
	var out *Window
	for i := 0; i < len(s.Track); i++ {
		if !w.met(s.Track[i]) {
			continue
		}
		j := i
		for j+1 < len(s.Track) && w.met(s.Track[j+1]) {
			j++
		}
		switch {
		case j-i >= need:
			for k := i; k+need <= j; k++ {
				if c := s.stretch(k, k+need); out == nil || out.Short || c.LeastDeg > out.LeastDeg {
					out = c
					out.GoodFrom, out.GoodTo = s.Track[i].At, s.Track[j].At
				}
			}
		case time.Duration(j-i)*trackStep >= part && (out == nil || out.Short && s.Track[j].At.Sub(s.Track[i].At) > out.To.Sub(out.From)):
			out = s.stretch(i, j)
			out.Short, out.GoodFrom, out.GoodTo = true, out.From, out.To
		}
		i = j
	}
	return out
}

// stretch is the window over a run of the track.
func (s *Sky) stretch(i, j int) *Window {
	w := &Window{From: s.Track[i].At, To: s.Track[j].At, Light: Dark, LeastDeg: 90}
	for _, x := range s.Track[i : j+1] {
		w.LeastDeg, w.MostDeg = min(w.LeastDeg, x.AltitudeDeg), max(w.MostDeg, x.AltitudeDeg)
		if l := x.Light(); l == Daylight || l == Twilight && w.Light == Dark {
			w.Light = l
		}
	}
	return w
}
