package exchange

import "flag"

var update = flag.Bool("update", false, "write the golden files anew")

// Updating reports whether golden files are to be written anew.
func Updating() bool { return *update }
