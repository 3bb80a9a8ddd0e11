package testkit

import (
	"os"
	"strconv"
)

// storiesVariable says how many random lives the story tests tell.
const storiesVariable = "HOSEWARD_TEST_STORIES"

// Stories is how many random lives a story test tells: what
// HOSEWARD_TEST_STORIES says, else the usual number.
func Stories(usual int) int {
	if n, err := strconv.Atoi(os.Getenv(storiesVariable)); err == nil && n > 0 {
		return n
	}
	return usual
}
