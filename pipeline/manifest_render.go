package pipeline

import "io"

// Render writes the diagnostics for people.
func (d Diagnostics) Render(w io.Writer, colour bool, width int) error { return nil }
