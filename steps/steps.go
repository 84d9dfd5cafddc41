// Package steps lists the stages of the job in the order in which the data flows.
package steps

import (
	"plenilune/pipeline"
	"plenilune/steps/captures"
	"plenilune/steps/detail"
	"plenilune/steps/finish"
	"plenilune/steps/frames"
	"plenilune/steps/mosaic"
	"plenilune/steps/panels"
	"plenilune/steps/publish"
	"plenilune/steps/stacks"
)

// All returns every step, the only registration there is.
func All() []pipeline.Step {
	return []pipeline.Step{
		captures.MastersStep(),
		frames.Masters(),
		captures.ClipsStep(),
		frames.Step(),
		stacks.Step(),
		panels.Step(),
		mosaic.Step(),
		detail.Step(),
		finish.Step(),
		publish.Step(),
		publish.StripStep(),
	}
}
