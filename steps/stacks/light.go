package stacks

import "plenilune/pipeline"

// lightTable is what is stated of a clip's light.
type lightTable struct {
	WavelengthNM float64 `json:"wavelength_nm"` // 0 unknown
}

// wavelengthOf is that of a clip's light, nm, 0 where it is not stated or not known yet.
func wavelengthOf(x *pipeline.Expansion, it pipeline.Item) float64 {
	var l lightTable
	if v := it.Values["light"]; !v.IsZero() && x.Table(v, &l) != nil {
		return 0 // it counts for advice only
	}
	return l.WavelengthNM
}
