package server

// What the forms for what happens to hoses say was done.
const (
	swapped         = "swapped"
	fitted          = "fitted"
	removed         = "removed"
	removedToStore  = "removed-to-store"
	movedOn         = "moved"
	scrapped        = "scrapped"
	storeAdded      = "store-added"
	assemblyChanged = "assembly-changed"
	foundNoted      = "found-noted"
	findingDone     = "finding-done"
	findingReleased = "finding-released"
	findingChanged  = "finding-changed"
	corrected       = "corrected"
	takenBack       = "taken-back"
	undone          = "undone"
)

// storyDone is the sentence of one of these words.
func storyDone(word string) string {
	switch word {
	case swapped:
		return "The swap is noted: the old hose is off, the new one on, everything that was open on the old one is closed, and the date is worked out."
	case fitted:
		return "The fitting is noted and the date is worked out."
	case removed:
		return "The removal is noted; everything that was open on the hose is closed. Its position is empty."
	case removedToStore:
		return "The removal is noted; everything that was open on the hose is closed. It is back in store and its position is empty."
	case movedOn:
		return "The move is noted. What wore it where it was counts on, and its date is worked out for where it is now."
	case scrapped:
		return "It is noted as scrapped and is never fitted again."
	case storeAdded:
		return "The assembly is in store."
	case assemblyChanged:
		return "The assembly is changed and its date is worked out anew."
	case foundNoted:
		return "The register now says what hangs there. The found hose counts from the earliest day it can have been fitted."
	case findingDone:
		return "The finding is ticked done."
	case findingReleased:
		return "The finding is released. The hose counts on by its other clocks."
	case findingChanged:
		return "The finding is changed and the dates are worked out anew."
	case corrected:
		return "It is corrected, the reason stays beside it, and the dates are worked out anew."
	case takenBack:
		return "It is taken back; the log of changes keeps what was there."
	case undone:
		return "It is undone: everything is as it was before."
	}
	return ""
}

// undoOffered reports whether what a word says was done can be undone: all that
// changed something, but for what was itself an undoing.
func undoOffered(word string) bool {
	switch word {
	case undone, importUndone, importAnew, inspectionKnown, listKept, listForgotten, noneTicked:
		return false
	}
	if personDone(word) != "" {
		return false
	}
	return doneSentence(word) != ""
}
