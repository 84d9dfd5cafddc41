package pipeline

// canonicalSettings returns the sorted lines "path value" of a settings struct.
func canonicalSettings(v any) ([]string, error) { panic("not written yet") }
