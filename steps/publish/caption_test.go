package publish

import (
	"math"
	"strings"
	"testing"
	"time"

	"plenilune/steps/kernel/moon"
)

func unix(text string) int64 {
	t, err := time.Parse("2006-01-02 15:04", text)
	if err != nil {
		panic(err)
	}
	return t.UnixNano()
}

// New Moons of Meeus, Astronomical Algorithms, 2nd ed., example 49.a (1977 February 18, 3h37m UT), and of the total solar eclipses of
// 1999 August 11 (11h09m) and 2024 April 8 (18h21m) as almanacs have them.
func TestAge(t *testing.T) {
	for _, at := range []string{"1977-02-18 03:37", "1999-08-11 11:09", "2024-04-08 18:21"} {
		for _, days := range []float64{1, 9.5, 26} {
			if got := ageDays(unix(at) + int64(days*86400e9)); math.Abs(got-days) > 0.1 {
				t.Errorf("%g days after %s the age is %.2f", days, at, got)
			}
		}
	}
}

// First quarter 2024 April 15 19:13, full Moon April 23 23:49, last quarter May 1 11:27 (UT, as almanacs have them).
func TestPhaseNames(t *testing.T) {
	for at, want := range map[string]string{
		"2024-04-11 00:00": "waxing crescent", "2024-04-15 19:13": "first quarter", "2024-04-19 00:00": "waxing gibbous",
		"2024-04-23 23:49": "full Moon", "2024-04-28 00:00": "waning gibbous", "2024-05-01 11:27": "last quarter",
		"2024-05-04 12:00": "waning crescent", "2024-04-08 18:21": "new Moon",
	} {
		if got := phaseName(moon.Centre(moon.Unix(unix(at)))); got != want {
			t.Errorf("%s is %s, want %s", at, got, want)
		}
	}
}

func TestCaption(t *testing.T) {
	s := captionSettings{Title: "Over the dye works", ApertureMM: 150, FocalLengthMM: 1800, Obstruction: 0.3, PixelUM: 2.9, Joined: true, Detail: true, Finished: true}
	c := captionSource{scale: 0.66, km: 1.23, north: "up", panels: []panelRow{
		{unix("2024-04-19 20:58"), 1000, 300}, {unix("2024-04-19 21:40"), 800, 400}, {0, 800, 500}}}
	want := "Over the dye works\n\n" +
		"The Moon on 2024-04-19 20:58 to 21:40 UTC: waxing gibbous, 8"
	got := captionText(s, c)
	if !strings.HasPrefix(got, want) {
		t.Errorf("caption begins\n%s want\n%s", got, want)
	}
	for _, want := range []string{
		"Taken with a telescope of 150 mm aperture at 1800 mm (f/12), obstructed by 30 % of the diameter, a camera with pixels of 2.9 µm.",
		"3 panels, of each the sharpest frames (1,200 of 2,600 in all)", "Scale 0.66″/px, 1.23 km/px at the middle of the disk. North is up.",
		"; detail brought out; tone for the eye."} {
		if !strings.Contains(got, want) {
			t.Errorf("no %q in\n%s", want, got)
		}
	}
	if c.more = scaleMore["hour"]; !strings.Contains(captionText(s, c), "Scale 0.66″/px (or up to 1.8 % more: no site is stated), 1.23 km/px") {
		t.Errorf("an estimated scale is told as\n%s", captionText(s, c))
	}
	if got := captionText(captionSettings{}, captionSource{panels: []panelRow{{0, 10, 5}}}); got != "One panel, its sharpest frames (5 of 10) aligned piece by piece and averaged. Made with plenilune.\n" {
		t.Errorf("of what is hardly known: %q", got)
	}
}
