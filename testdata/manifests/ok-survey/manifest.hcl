night {
  time_zone = "Europe/Zurich"
  tracking  = "lunar"
  skyline {
    azimuth_deg  = [0, 90, 180]
    altitude_deg = [10, 20, 5]
  }
  camera {
    pixel_um  = 2.9
    width_px  = 1936
    height_px = 1096
    bits      = 8
    rate_hz   = 60
    angle_deg = -12
  }
  survey {
    pointing_error_arcmin = 0.3
    seeing_arcsec         = 2
  }
}
