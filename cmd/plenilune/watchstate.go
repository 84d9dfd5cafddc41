package main

// nightState is all that the page and the terminal know of a night in progress. Places and sizes are in pixels of the
// joined picture unless their names say otherwise.
type nightState struct {
	Event    string      `json:"event"` // "night"
	Title    string      `json:"title"`
	Stage    string      `json:"stage"`
	Landing  []fileState `json:"landing"` // files that may still be written
	Clips    []clipState `json:"clips"`   // in the order in which they were taken
	Disk     *diskState  `json:"disk"`    // none while nothing is placed
	Holes    []holeState `json:"holes"`
	Next     *nextState  `json:"next"`
	Notes    []saying    `json:"notes"`
	Room     roomState   `json:"room"`
	Problems []saying    `json:"problems"`
	Usual    float64     `json:"usual_resolution_px"` // 0: unknown
	Optics   opticsState `json:"optics"`
}

// opticsState is what the manifest says of the telescope; 0 is unknown.
type opticsState struct {
	ArcsecPerPx float64 `json:"arcsec_per_px"` // of the sensor
	LimitArcsec float64 `json:"limit_arcsec"`  // the finest period that the telescope passes
}

type fileState struct {
	Name  string `json:"name"`
	Bytes int64  `json:"bytes"`
	State string `json:"state"` // in words
}

type clipState struct {
	Name       string       `json:"name"`
	State      string       `json:"state"` // "landed", "stacked", "placed", "apart", "failed", "unused"
	Why        string       `json:"why,omitempty"`
	Frames     int          `json:"frames"`
	Kept       int          `json:"frames_kept"`       // of the stack that there is
	Quick      bool         `json:"quick_stack"`       // it is of the best few frames: the final one, which a run makes, is still to come
	FinestPx   float64      `json:"resolution_px"`     // pixels of the sensor; 0: unknown
	FinestSky  float64      `json:"resolution_arcsec"` // 0: unknown
	Brightness float64      `json:"brightness"`        // against most clips of the night; 0: unknown
	MidUnixMS  int64        `json:"mid_unix_ms"`       // 0: unknown
	Flags      []saying     `json:"flags"`
	Outline    [][2]float64 `json:"outline,omitempty"`
	Picture    string       `json:"picture,omitempty"`
}

type diskState struct {
	Picture  string     `json:"picture"`
	Box      [4]float64 `json:"box"` // x, y, width and height of what the picture shows
	Limb     []float64  `json:"limb,omitempty"`
	Scale    float64    `json:"arcsec_per_px"` // 0: unknown
	ShownPct float64    `json:"sunlit_shown_pct"`
	NorthDeg *float64   `json:"north_deg,omitempty"` // anticlockwise from the top
}

type holeState struct {
	Kind     string  `json:"kind"` // "hole", or "not shot yet"
	Text     string  `json:"text"`
	X        float64 `json:"x"`
	Y        float64 `json:"y"`
	SharePct float64 `json:"share_of_disk_pct"`
}

type nextState struct {
	Text         string       `json:"text"`
	Place        string       `json:"place"`
	RightArcmin  float64      `json:"right_arcmin"` // from the disk's middle, as the picture shows it
	UpArcmin     float64      `json:"up_arcmin"`
	RightFields  float64      `json:"right_fields"`
	UpFields     float64      `json:"up_fields"`
	FromLast     string       `json:"from_last"`
	Neighbours   []string     `json:"neighbours"`
	Outline      [][2]float64 `json:"outline"`
	NeighbourPct []float64    `json:"overlap_pct"`
}

// saying is something said in words, with a stable code.
type saying struct {
	Code string `json:"code"`
	Text string `json:"text"`
}

type roomState struct {
	FreeBytes int64  `json:"free_bytes"` // −1: unknown
	ClipBytes int64  `json:"clip_bytes"`
	ClipsLeft int    `json:"clips_left"` // −1: unknown
	Text      string `json:"text"`
}
