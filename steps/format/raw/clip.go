package raw

// Clip is what a file of frames says of itself: the same of every kind of file. Frames are
// read by a Reader with its layout; Sample tells what only they can.
type Clip struct {
	Format   string // what the file is, for people
	Layout   Layout
	Depth    int   // bits a sample, as stated; 1…16
	Frames   int   // whole frames in the file that are to be used
	Declared int64 // frames as stated
	CutShort bool  // fewer frames than stated
	Unclosed bool  // no frames are stated, yet some are there: the recording was never finished
	Extra    int64 // bytes behind everything that is explained

	OrderOpen bool // files of this kind state their byte order wrongly at times: samples decide

	// Times holds the time of each frame in Unix nanoseconds, UTC, 0 where it is not
	// believable; nil when there is none.
	Times      []int64
	TimesLocal bool   // the file holds local time; Times is corrected
	Start      int64  // of the recording, in Unix nanoseconds UTC; 0: unknown
	TimeSource string // where that stands: "trailer" or "header", or "" when it is unknown

	Remarks []Remark // what else is odd about a clip that can be used
}

// Remark is something that the user should know.
type Remark struct {
	Code string // stable
	Text string // goes on after the clip's name
}

// MaxFrames bounds the tables made for a clip.
const MaxFrames = 1 << 24
