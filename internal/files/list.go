package files

import (
	"fmt"
	"os"
)

// IDs are the ids of all kept files, in order.
func (f *Folder) IDs() ([]string, error) {
	entries, err := os.ReadDir(f.dir)
	if err != nil {
		return nil, fmt.Errorf("list kept files: %w", err)
	}
	var ids []string
	for _, e := range entries {
		if validID(e.Name()) && e.Type().IsRegular() {
			ids = append(ids, e.Name())
		}
	}
	return ids, nil
}
