package robust

import "math"

// Clipped is a mean without its outliers.
type Clipped struct {
	Mean, Sigma float64 // of the values kept; Sigma divides by their number
	Kept        int
	Low, High   float64 // the last limits: Low ≤ kept ≤ High
}

// SigmaClip drops what lies more than k standard deviations from the median,
// again and again until nothing more goes or rounds are done. (About the mean,
// 3σ can never drop one outlier of ten or fewer values.)
func SigmaClip[T Float](v []T, k float64, rounds int) Clipped {
	own := finite(v, nil)
	c := Clipped{Low: math.Inf(-1), High: math.Inf(1)}
	for range rounds {
		_, s := meanSigma(own)
		m := medianOwn(own)
		c.Low, c.High = m-float64(k*s), m+float64(k*s)
		n := 0
		for _, x := range own {
			if d := float64(x); d >= c.Low && d <= c.High {
				own[n] = x
				n++
			}
		}
		if n == len(own) {
			break
		}
		own = own[:n]
	}
	c.Mean, c.Sigma = meanSigma(own)
	c.Kept = len(own)
	return c
}

// Mean returns the mean and the standard deviation (divided by n).
func Mean[T Float](v []T) (mean, sigma float64) { return meanSigma(finite(v, nil)) }

func meanSigma[T Float](v []T) (mean, sigma float64) {
	if len(v) == 0 {
		return math.NaN(), math.NaN()
	}
	n := float64(len(v))
	for _, x := range v {
		mean += float64(x)
	}
	mean /= n
	for _, x := range v {
		d := float64(x) - mean
		sigma += float64(d * d)
	}
	return mean, math.Sqrt(sigma / n)
}

// Huber returns the weight of a residual r under Huber's (1964) loss: 1 up to
// |r| = k, then k/|r|. k = 1.345σ keeps 95 % of the efficiency on normal data.
func Huber(r, k float64) float64 {
	if r = math.Abs(r); r > k {
		return k / r
	}
	return 1
}

// Biweight returns the weight of a residual under Tukey's biweight: (1-(r/c)²)²
// within c and 0 beyond. c = 4.685σ keeps 95 % of the efficiency on normal data.
func Biweight(r, c float64) float64 {
	u := r / c
	if u = 1 - float64(u*u); u <= 0 {
		return 0
	}
	return float64(u * u)
}
