package main

import (
	"strings"

	"plenilune/steps/frames"
)

// role is what a file is taken for.
type role string

const (
	clipRole     role = "clip"
	darkRole     role = "dark"
	flatRole     role = "flat"
	flatDarkRole role = "flat-dark" // dark frames of the flats' own exposure
)

// roleOf tells what a file or folder is from the beginning of its name, otherwise
// being what the folder that it lies in is: darks among flats are the flats' own.
// It is "" for a name that says both in another way.
func roleOf(name string, otherwise role) role {
	name = strings.ToLower(name)
	dark, flat := strings.HasPrefix(name, "dark"), strings.HasPrefix(name, "flat")
	switch {
	case frames.NamesFlatDarks(name):
		return flatDarkRole
	case dark && strings.Contains(name, "flat"), flat && strings.Contains(name, "dark"):
		return ""
	case dark && (otherwise == flatRole || otherwise == flatDarkRole), flat && (otherwise == darkRole || otherwise == flatDarkRole):
		return flatDarkRole
	case dark:
		return darkRole
	case flat:
		return flatRole
	}
	return otherwise
}
