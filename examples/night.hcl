# A night to be surveyed; README.md shows this file.
night {
  time_zone = "Europe/Zurich" # a name of the IANA's list
  mount     = "altaz"         # or "equatorial"
  tracking  = "lunar"         # or "sidereal", or "none"
  site {
    latitude_deg  = 47.4
    longitude_deg = 8.5
    elevation_m   = 430
  }
  skyline { # what stands in the way; optional
    azimuth_deg  = [0, 90, 180, 270] # from north through east
    altitude_deg = [10, 25, 8, 5]
  }
  telescope {
    aperture_mm     = 150
    focal_length_mm = 1800
  }
  camera {
    pixel_um  = 2.9
    width_px  = 1936
    height_px = 1096
    bits      = 8
    rate_hz   = 60 # frames a second
    angle_deg = 0  # where the picture's top points: from north, or on an altazimuth mount from the zenith, through east
  }
  survey {
    overlap               = 0.25  # share of a field's side
    pointing_error_arcmin = 0.25  # along each axis, r.m.s.
    clip_s                = 60
    pause_s               = 20
    cover                 = "lit" # or "disk"
    least_altitude_deg    = 20
  }
}
