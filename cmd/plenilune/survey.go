package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"plenilune/pipeline"
	"plenilune/steps"
	"plenilune/steps/captures"
	"plenilune/steps/survey"
)

// surveyFlags are those of survey.
type surveyFlags struct {
	on, chart, write string
	json             bool
	set              []string
}

func surveyCommand() *cobra.Command {
	var f surveyFlags
	cmd := &cobra.Command{
		Use:   "survey FILE",
		Short: "Look ahead at a night: when, how the Moon looks, and which panels to shoot",
		Long: `survey reads the night block of a manifest and tells, for the evening of a date and
the night after it: when the Moon stands high in the dark, its phase, diameter,
libration, axis and terminator, how high Moon and Sun are every half hour, what
telescope and camera can show, and which panels close the disk: where each is aimed,
in which order, at what time, and how many minutes and bytes they take. The grid is
laid so that errors of aim and the turn of the field leave no gap in 99 nights of 100.

Without --on it is the next night, from today, in which the Moon is up long enough and
high enough in the dark. No clip needs to exist, and no setting must be there: what is
not stated is named, with what cannot be told without it. The night block takes:

  time_zone = "Europe/Zurich"      mount    = "altaz" or "equatorial"
  tracking  = "lunar", "sidereal" or "none"
  site      { latitude_deg, longitude_deg, elevation_m }
  skyline   { azimuth_deg = [0, 90, …]  altitude_deg = [10, 25, …] }
  telescope { aperture_mm, focal_length_mm, obstruction }
  camera    { pixel_um, width_px, height_px, bits, rate_hz, angle_deg }
  survey    { overlap (0.25 of a side), pointing_error_arcmin (r.m.s. an axis),
              clip_s (60), pause_s (20), cover ("lit", or "disk"),
              least_altitude_deg (20), turn_px (0.5), wavelength_nm (the clips' filter, or 550),
              seeing_arcsec ([1, 1.5, 2, 3, 4]) }

angle_deg is where the top of the camera's picture points: from north on an equatorial
mount, from the zenith on an altazimuth one, through east.

Caution: within 10° of the Sun no place to aim at is told. Sunlight through any lens
blinds at once and starts fires; only certified full-aperture filters, their makers'
instructions and your local rules make it safe.`,
		Example: `  plenilune survey night.hcl
  plenilune survey night.hcl --on 2027-03-19 --chart night.svg
  plenilune survey night.hcl --on 2027-03-19 --write march.hcl`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return f.run(cmd.OutOrStdout(), cmd.ErrOrStderr(), args[0])
		},
	}
	fl := cmd.Flags()
	fl.StringVar(&f.on, "on", "", "the `DATE` of the evening, as 2027-03-19 (default: the next suitable night)")
	fl.StringVar(&f.chart, "chart", "", "draw the night and its panels into `FILE.svg`, replacing it")
	fl.StringVar(&f.write, "write", "", "write a manifest for the night's clips, to come, into `FILE`, which must not be there")
	fl.BoolVar(&f.json, "json", false, "print one JSON object a line on stdout")
	fl.StringArrayVar(&f.set, "set", nil, "`NAME=VALUE` replaces an entry of the manifest's settings block; may be repeated")
	return cmd
}

func (f *surveyFlags) run(stdout, stderr io.Writer, file string) error {
	if f.chart != "" && !strings.EqualFold(filepath.Ext(f.chart), ".svg") {
		return requestf("--chart %s: the chart is an SVG file; give it a name that ends in .svg", shown(f.chart))
	}
	if f.chart != "" && f.write != "" && sameName(f.chart, f.write) {
		return requestf("--chart and --write name one file, %s; give each a name of its own", shown(f.write))
	}
	if _, err := os.Lstat(f.write); f.write != "" && err == nil {
		return requestf("%s stands there already; choose another name for --write", shown(f.write))
	}
	m, err := f.load(stderr, file)
	if err != nil {
		return err
	}
	r, err := f.plan(stderr, nightInLight(m))
	if err != nil {
		return err
	}
	written, err := f.files(r)
	if err != nil {
		return err
	}
	if f.json {
		s := newScreen(stdout, stderr, true)
		for _, e := range r.Events() {
			s.object(e)
		}
		for _, p := range written {
			s.object(map[string]any{"event": "written", "path": filepath.ToSlash(p)})
		}
		return nil
	}
	if err := r.WriteText(stdout); err != nil {
		return fmt.Errorf("tell the survey: %w", err)
	}
	for _, p := range written {
		fmt.Fprintf(stderr, "written: %s\n", filepath.ToSlash(p))
	}
	return nil
}

// sameName tells whether two paths are one file, also where names do not differ by case.
func sameName(a, b string) bool {
	x, errX := filepath.Abs(a)
	y, errY := filepath.Abs(b)
	return errX == nil && errY == nil && strings.EqualFold(x, y)
}

// load reads the manifest without its files: clips need not exist yet.
func (f *surveyFlags) load(stderr io.Writer, file string) (*pipeline.Manifest, error) {
	src, err := os.ReadFile(file)
	if err != nil {
		return nil, requestf("read the manifest: %v", err)
	}
	over, err := overrides(f.set)
	if err != nil {
		return nil, err
	}
	m, diags := pipeline.LoadManifest(file, src, steps.All(), over)
	if diags.HasErrors() {
		colour, width := looks(stderr)
		if err := diags.Render(meant(stderr), colour, width); err != nil {
			return nil, err
		}
		return nil, &toldError{exitRequest}
	}
	return m, nil
}

// nightInLight is the manifest's night, its survey in the light that a filter of the clips lets through.
func nightInLight(m *pipeline.Manifest) pipeline.Night {
	n := m.Night
	for _, b := range m.Blocks {
		for _, s := range b.Steps {
			c, ok := s.Settings.(*captures.ClipSettings)
			if !ok || c.Filter == nil || n.Survey != nil && n.Survey.WavelengthNM > 0 {
				continue
			}
			how := pipeline.Survey{}
			if how.SetDefaults(); n.Survey != nil {
				how = *n.Survey
			}
			how.WavelengthNM = c.Filter.WavelengthNM
			n.Survey = &how
		}
	}
	return n
}

// plan surveys the night asked for, or the next suitable one.
func (f *surveyFlags) plan(stderr io.Writer, n pipeline.Night) (*survey.Report, error) {
	if f.on != "" {
		day, err := survey.ParseDay(f.on)
		if err != nil {
			return nil, requestf("--on: %v", err)
		}
		return survey.Plan(n, day)
	}
	now := time.Now()
	if zone, err := n.Zone(); err == nil && zone != nil {
		now = now.In(zone)
	}
	// Before noon the night that goes on, or has just ended, is yesterday's.
	y, m, d := now.Add(-12 * time.Hour).Date()
	today := survey.Day{Year: y, Month: m, Day: d}
	r, suitable, err := survey.Next(n, today)
	switch {
	case err != nil:
		return nil, err
	case !suitable:
		fmt.Fprintf(stderr, "no night within 60 days is suitable; this is %s\n", today)
	default:
		fmt.Fprintf(stderr, "the next suitable night from %s: %s\n", today, r.Day)
	}
	return r, nil
}

// files writes what was asked for beside the report.
func (f *surveyFlags) files(r *survey.Report) (written []string, err error) {
	if f.chart != "" {
		var b strings.Builder
		if err := r.WriteChart(&b); err != nil {
			return nil, fmt.Errorf("draw the chart: %w", err)
		}
		if err := writeNew(f.chart, []byte(b.String())); err != nil {
			return nil, err
		}
		written = append(written, f.chart)
	}
	if f.write != "" {
		text, err := nightManifest(f.write, r)
		if err != nil {
			return written, err
		}
		if err := writeNew(f.write, text); err != nil {
			return written, err
		}
		written = append(written, f.write)
	}
	return written, nil
}

// writeNew writes a file that was asked for; a folder that is not there is a wrong request.
func writeNew(name string, data []byte) error {
	err := os.WriteFile(name, data, 0o644)
	if errors.Is(err, fs.ErrNotExist) {
		return requestf("write %s: there is no folder %s", shown(name), shown(filepath.Dir(name)))
	}
	if err != nil {
		return fmt.Errorf("write a file: %w", err)
	}
	return nil
}
