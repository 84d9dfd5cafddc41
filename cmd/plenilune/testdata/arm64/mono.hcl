# Of one night nearly everything that a manifest can ask for: arm64_test.go holds
# the work on it to the same bytes on both processors.
night {
  title = "Three panels and a coarse one"
  mount = "altaz"
  site {
    latitude_deg  = 47.4
    longitude_deg = 8.5
    elevation_m   = 430
  }
  telescope {
    aperture_mm     = 100
    focal_length_mm = 120
  }
  camera {
    pixel_um = 5.8
  }
}

master "dark" {
  files = ["dark/*.ser"]
}

master "flat" {
  files = ["flat/*.ser"]
}

clips "disk" {
  files   = ["clips/*.ser", "coarse/clips/*.ser"]
  masters = [master.dark, master.flat]
  filter {
    wavelength_nm = 640
  }
}

stack "panels" {
  clips = clips.disk
  keep  = 0.7
}

mosaic "disk" {
  panels = stack.panels
  orientation {
    north_deg = 0
  }
}

detail "crisp" {
  image = mosaic.disk
}

finish "print" {
  image     = detail.crisp
  names     = true
  scale_bar = true
}

finish "soft" {
  image       = mosaic.disk
  shadow_lift = 0.5
  names       = true
}

publish "out" {
  picture {
    image = mosaic.disk
    file  = "linear.tif"
    depth = "float32"
  }
  picture {
    image = mosaic.disk
    file  = "linear.fits"
  }
  picture {
    image = mosaic.disk
    file  = "noise.tif"
    plane = "noise"
  }
  picture {
    image = finish.print
    file  = "disk.png"
  }
  picture {
    image        = finish.print
    file         = "disk.jpg"
    long_edge_px = 150
    max_bytes    = 5000
    caption      = true
  }
  pages {
    image  = finish.print
    folder = "disk"
    beside = finish.soft
  }
}
