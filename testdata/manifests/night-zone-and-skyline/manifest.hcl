night {
  time_zone = "Europe/Zurick"
  skyline {
    azimuth_deg  = [0, 90, 80]
    altitude_deg = [10, 20]
  }
  survey {
    clip_s = 0
    cover  = "all"
  }
}
