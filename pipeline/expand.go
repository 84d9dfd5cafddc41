package pipeline

// Expansion is what a step sees while it cuts a block into parts. Its methods
// may wait for earlier parts, never for pixels to be looked at.
type Expansion struct{ run *expandRun }

// Delivery is a file for the user's output folder.
type Delivery struct {
	File    string // relative to the output folder, slashes
	Encoded Value  // bytes of the file without its record
	// Splice puts a record into the encoded bytes, giving the final file. Nil delivers as is.
	Splice func(encoded, record []byte) ([]byte, error)
	// Version is raised whenever Splice gives other bytes for equal inputs.
	Version int
}
