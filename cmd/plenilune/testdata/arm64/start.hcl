# Begins with what long.hcl keeps: a panel of our own, and a picture as any program may stack it.
panels "own" {
  files = ["here/out/panels/*.fits"]
  filter {
    wavelength_nm = 640
  }
}

panels "other" {
  files = ["here/out/panel.tif"]
}

publish "out" {
  panels {
    stack  = panels.own
    folder = "own"
  }
  panels {
    stack  = panels.other
    folder = "other"
  }
}
