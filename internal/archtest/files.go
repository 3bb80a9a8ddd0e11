package archtest

import (
	"fmt"
	"path"
	"regexp"
	"slices"
	"strings"
)

// topLevel are the names agreed for the top of the tree.
var topLevel = []string{
	".ci", ".gitignore", "DEVELOPERS.md", "LICENSE", "Makefile", "README.md", "cmd", "go.mod", "go.sum",
	"internal", "jobs", "migrations", "testdata", "web",
}

// checkPlaces finds files at the top, and folders of Go files, that were not
// agreed.
func checkPlaces(t *Tree) []string {
	seen := map[string]bool{}
	var bad []string
	for _, name := range sortedKeys(t.Files) {
		top, _, _ := strings.Cut(name, "/")
		if !slices.Contains(topLevel, top) && !seen[top] {
			seen[top] = true
			bad = append(bad, top+" is no name agreed for the top of the tree")
		}
		if parts := strings.Split(name, "/"); parts[0] == "internal" && len(parts) > 2 {
			dir := "internal/" + parts[1]
			if _, ok := arrows[dir]; !ok && !seen[dir] {
				seen[dir] = true
				bad = append(bad, dir+" is no package agreed")
			}
		}
	}
	return bad
}

func sortedKeys(m map[string]string) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

// machinePath finds paths that exist on one machine only.
var machinePath = regexp.MustCompile(`(^|[^\w./*-])/(work/(main|shared|\.library)|root/|home/\w|tmp\b|Users/\w)|[A-Za-z]:\\Users|shared/(design|facts|reference|hooks)`)

func checkMachinePaths(t *Tree) []string {
	var bad []string
	for _, name := range sortedKeys(t.Files) {
		for i, line := range strings.Split(t.Files[name], "\n") {
			if found := machinePath.FindString(line); found != "" {
				bad = append(bad, fmt.Sprintf("%s:%d holds %q, which is on one machine only", name, i+1, strings.TrimSpace(found)))
			}
		}
	}
	return bad
}

var migrationName = regexp.MustCompile(`^(\d+)_[a-z0-9_]+\.sql$`)

// checkMigrations wants the same files for both engines, numbered from 1
// without a gap.
func checkMigrations(t *Tree) []string {
	var bad []string
	lists := map[string][]string{}
	for _, engine := range []string{"sqlite", "postgres"} {
		for _, name := range t.names("migrations/" + engine) {
			base := path.Base(name)
			m := migrationName.FindStringSubmatch(base)
			if m == nil {
				bad = append(bad, name+" is not named like 0001_places.sql")
				continue
			}
			lists[engine] = append(lists[engine], base)
			if want := fmt.Sprintf("%0*d", len(m[1]), len(lists[engine])); m[1] != want {
				bad = append(bad, fmt.Sprintf("%s should have the number %s", name, want))
			}
		}
	}
	if len(lists["sqlite"]) == 0 {
		bad = append(bad, "migrations/sqlite holds no migration")
	}
	for _, name := range lists["sqlite"] {
		if !slices.Contains(lists["postgres"], name) {
			bad = append(bad, "migrations/postgres has no "+name)
		}
	}
	for _, name := range lists["postgres"] {
		if !slices.Contains(lists["sqlite"], name) {
			bad = append(bad, "migrations/sqlite has no "+name)
		}
	}
	return bad
}
