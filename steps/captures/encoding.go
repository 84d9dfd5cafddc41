package captures

import (
	"fmt"
	"math"

	"plenilune/steps/format/picture"
	"plenilune/steps/kernel/portable"
	"plenilune/steps/kernel/srgb"
)

// How samples stand to light.
const (
	encodingAuto   = "auto" // as the file says, or its kind has it
	encodingLinear = picture.Linear
	encodingSRGB   = picture.SRGB
	encodingBT709  = "bt709"

	// No settings: only files say so.
	encodingHLG     = "hlg"
	encodingGamma22 = "gamma22"
	encodingGamma28 = "gamma28"
)

// encoding is how the samples of a clip stand to light, and what told it.
type encoding struct {
	Name string `json:"name"`
	Why  string `json:"why"`
}

// encodingOf decides by the setting, or else by what a picture says and what it is: JPEG pictures are made for the eye;
// PNG and TIFF pictures that say nothing come from cameras' programs, which store what the sensor gave.
func encodingOf(setting string, p *picture.Picture) encoding {
	switch {
	case setting != encodingAuto:
		return encoding{setting, "the setting encoding"}
	case p.Encoding != "":
		return encoding{p.Encoding, p.Why}
	}
	return encoding{encodingLinear, "nothing says otherwise"}
}

// tell is the encoding as a fact.
func (e encoding) tell() string {
	name := map[string]string{encodingLinear: "linear", encodingSRGB: "sRGB, made linear", encodingBT709: "BT.709, made linear",
		encodingHLG: "hybrid log-gamma, made linear", encodingGamma22: "gamma 2.2, made linear", encodingGamma28: "gamma 2.8, made linear"}[e.Name]
	return fmt.Sprintf("%s: %s", name, e.Why)
}

// light is what an encoded sample means, both 0…1.
func light(encoding string, v float64) float64 {
	switch encoding {
	case encodingSRGB:
		return srgb.Decode(v)
	case encodingBT709:
		return bt709(v)
	case encodingHLG:
		return hlg(v)
	case encodingGamma22: // the displays that BT.470 assumes: ITU-T H.273, table 3, values 4 and 5
		return portable.Pow(v, 2.2)
	case encodingGamma28:
		return portable.Pow(v, 2.8)
	}
	return v
}

// bt709 undoes the camera's curve of Recommendation ITU-R BT.709-6, item 1.2, which is BT.601's and BT.2020's, too; with the
// constants at which its two parts meet (BT.2020-2, table 4, note 2).
func bt709(v float64) float64 {
	const alpha, beta = 1.09929682680944, 0.018053968510807
	if v < 4.5*beta {
		return v / 4.5
	}
	return portable.Pow((v+alpha-1)/alpha, 1/0.45)
}

// hlg undoes the camera's curve of hybrid log-gamma: Recommendation ITU-R BT.2100-2, table 5.
func hlg(v float64) float64 {
	const a, b, c = 0.17883277, 0.28466892, 0.55991073
	if v <= 0.5 {
		return v * v / 3
	}
	return (portable.Exp((v-c)/a) + b) / 12
}

// linearTable gives for every sample of 8 or 16 bits what it means in light, of 65,535.
func linearTable(encoding string, bits int) []uint16 {
	out := make([]uint16, 1<<bits)
	for i := range out {
		out[i] = uint16(math.Round(65535 * min(1, light(encoding, float64(i)/float64(len(out)-1)))))
	}
	return out
}
