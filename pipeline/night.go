package pipeline

import (
	"fmt"
	"strings"
	"time"
	_ "time/tzdata" // time zones are known on every machine
)

// Night is what the manifest says of the whole night. Zero numbers are unknown. The camera's
// size and speed, the skyline, the time zone and what stands in Survey no part of a run regards.
type Night struct {
	Title     string     `hcl:"title,optional"`
	TimeZone  string     `hcl:"time_zone,optional"` // of the IANA's list: "Europe/Zurich"
	Mount     string     `hcl:"mount,optional" oneof:"altaz equatorial"`
	Tracking  string     `hcl:"tracking,optional" oneof:"lunar sidereal none"`
	Site      *Site      `hcl:"site,block"`
	Skyline   *Skyline   `hcl:"skyline,block"`
	Telescope *Telescope `hcl:"telescope,block"`
	Camera    *Camera    `hcl:"camera,block"`
	Survey    *Survey    `hcl:"survey,block"`
}

// Site is the observer's place; east and north are positive. It never leaves
// the manifest: records and pages carry how the Moon was turned at each clip, and not where from.
type Site struct {
	LatitudeDeg  float64 `hcl:"latitude_deg" min:"-90" max:"90"`
	LongitudeDeg float64 `hcl:"longitude_deg" min:"-180" max:"360"`
	ElevationM   float64 `hcl:"elevation_m,optional" min:"-500" max:"9000"`
}

// Skyline is what stands in the way: heights at azimuths from north through east, in rising order, straight between them.
type Skyline struct {
	AzimuthDeg  []float64 `hcl:"azimuth_deg" min:"0" max:"360"`
	AltitudeDeg []float64 `hcl:"altitude_deg" min:"0" max:"90"`
}

// Telescope describes the optics in front of the camera; zero is unknown.
type Telescope struct {
	ApertureMM    float64 `hcl:"aperture_mm,optional" min:"20" max:"5000"`
	FocalLengthMM float64 `hcl:"focal_length_mm,optional" min:"50" max:"100000"`
	Obstruction   float64 `hcl:"obstruction,optional" min:"0" max:"0.8"`
}

// Camera describes the sensor; zero is unknown.
type Camera struct {
	PixelUM  float64 `hcl:"pixel_um,optional" min:"0.5" max:"50"`
	WidthPX  int     `hcl:"width_px,optional" min:"16" max:"30000"`
	HeightPX int     `hcl:"height_px,optional" min:"16" max:"30000"`
	Bits     int     `hcl:"bits,optional" min:"1" max:"16"`
	RateHz   float64 `hcl:"rate_hz,optional" min:"0.01" max:"5000"` // frames a second

	// AngleDeg is where the top of the sensor's picture points on the sky: from celestial north on an equatorial mount, from the
	// zenith on an altazimuth one, through east (anticlockwise on the sky).
	AngleDeg float64 `hcl:"angle_deg,optional" min:"-180" max:"360"`
}

// Survey is how the night is to be shot.
type Survey struct {
	Overlap             float64   `hcl:"overlap,optional" min:"0" max:"0.8"`              // share of a field's side
	PointingErrorArcmin *float64  `hcl:"pointing_error_arcmin,optional" min:"0" max:"30"` // along each axis, r.m.s.
	ClipS               float64   `hcl:"clip_s,optional" min:"0.1" max:"3600"`            // length of a clip
	PauseS              float64   `hcl:"pause_s,optional" min:"0" max:"3600"`             // from one clip to the next
	Cover               string    `hcl:"cover,optional" oneof:"lit disk"`                 // sunlit ground, or all
	LeastAltitudeDeg    float64   `hcl:"least_altitude_deg,optional" min:"0" max:"85"`    // below it nothing is shot
	TurnPx              float64   `hcl:"turn_px,optional" min:"0.01" max:"100"`           // what ground may move against the limb
	WavelengthNM        float64   `hcl:"wavelength_nm,optional" min:"300" max:"1100"`     // of the light; 0: as the clips' filter has it, else green
	SeeingArcsec        []float64 `hcl:"seeing_arcsec,optional" min:"0.1" max:"20"`       // full width at half maximum, zenith, 500 nm
}

// SetDefaults makes a survey that says nothing.
func (s *Survey) SetDefaults() {
	*s = Survey{Overlap: 0.25, ClipS: 60, PauseS: 20, Cover: "lit", LeastAltitudeDeg: 20, TurnPx: 0.5,
		SeeingArcsec: []float64{1, 1.5, 2, 3, 4}}
}

// ScaleArcsecPerPx returns the stated image scale, or 0 when the manifest does
// not say enough: 206.264806 × pixel µm / focal length mm (small angle).
func (n Night) ScaleArcsecPerPx() float64 {
	if n.Camera == nil || n.Telescope == nil || n.Camera.PixelUM == 0 || n.Telescope.FocalLengthMM == 0 {
		return 0
	}
	return 206.264806 * n.Camera.PixelUM / n.Telescope.FocalLengthMM
}

// Zone returns the time zone, or nil where none is stated. It fails where there is none of the name.
func (n Night) Zone() (*time.Location, error) {
	if n.TimeZone == "" {
		return nil, nil
	}
	if n.TimeZone == "Local" {
		return nil, fmt.Errorf("time_zone: name the zone itself, such as \"Europe/Zurich\"")
	}
	return time.LoadLocation(n.TimeZone)
}

// check finds faults that tags cannot express.
func (n Night) check() []Problem {
	var out []Problem
	// Line ends, tabs and the marks of languages written from right to left are no harm.
	if strings.ContainsFunc(n.Title, func(c rune) bool { return obeyed(c) && c != '\n' && c != '\t' && c != 0x200e && c != 0x200f }) {
		out = append(out, Problem{Path: "title", Text: "this text has a character that is obeyed, not shown",
			Hint: "leave out control characters, and those that turn the direction of writing"})
	}
	if _, err := n.Zone(); err != nil {
		out = append(out, Problem{Path: "time_zone", Text: fmt.Sprintf("there is no time zone %q", n.TimeZone),
			Hint: "write a name of the IANA's list, such as \"Europe/Zurich\" or \"UTC\""})
	}
	if s := n.Skyline; s != nil {
		if len(s.AzimuthDeg) != len(s.AltitudeDeg) {
			out = append(out, Problem{Path: "skyline", Text: fmt.Sprintf("the skyline has %d azimuths and %d altitudes", len(s.AzimuthDeg), len(s.AltitudeDeg)),
				Hint: "give one altitude for each azimuth"})
		}
		for i := 1; i < len(s.AzimuthDeg); i++ {
			if s.AzimuthDeg[i] <= s.AzimuthDeg[i-1] {
				out = append(out, Problem{Path: "skyline.azimuth_deg", Text: "the skyline's azimuths do not rise", Hint: "write them from north through east, 0 to 360"})
				break
			}
		}
	}
	return out
}
