package raw

// Light is what the samples looked at tell of a clip's brightness.
type Light struct {
	Mean float64 // share of white
	// Full is the share of the bright ground's samples that reach the level asked
	// for. Bright ground is what lies above the middle between the sky, the darkest
	// hundredth, and the brightest hundredth; it counts as at least a tenth of the
	// field, so that hot pixels in a bare sky are none.
	Full float64
}

// Light sums up the samples in the given order: white is the largest sample (see
// Level), full the share of it from which a sample counts as saturated.
func (e *Evidence) Light(big bool, white, full float64) Light {
	order := make([]uint32, len(e.count)) // how often each sample occurs, by its value
	for v, c := range e.count {
		order[e.word(v, big)] += c
	}
	total := float64(e.total())
	if total == 0 {
		return Light{}
	}
	var l Light
	seen, low, high := 0.0, -1, -1
	for v, c := range order {
		seen += float64(c)
		l.Mean += float64(float64(v) / white * (float64(c) / total))
		if low < 0 && seen >= 0.01*total {
			low = v
		}
		if high < 0 && seen >= 0.99*total {
			high = v
		}
	}
	var bright, at float64
	for v, c := range order {
		if 2*v > low+high {
			bright += float64(c)
		}
		if float64(v) >= full*white {
			at += float64(c)
		}
	}
	l.Full = min(1, at/max(bright, 0.1*total))
	return l
}
