// Package archtest keeps the shape of the source tree by tests.
//
// The main idea: each rule is a pure function of the tree, read as files and
// parsed in process, that returns what breaks it. So a rule can be shown a
// small tree in memory that breaks it, and its test does: a rule that cannot
// fail is none. (Asking the go command instead would be cached, and would miss
// what tests import.)
//
// It says nothing of what the program does, and is used by its own tests only.
package archtest

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path"
	"sort"
	"strings"
)

// Module is the name of the program's module.
const Module = "hoseward"

// Rule is one thing that holds for the whole tree.
type Rule struct {
	Name string
	// Check returns one sentence for each place that breaks the rule, none if
	// the tree keeps it.
	Check func(*Tree) []string
}

// Rules are all rules that need nothing but the tree.
func Rules() []Rule {
	return []Rule{
		{"imports follow the arrows", checkImports},
		{"each library has one home", checkLibraries},
		{"the core keeps off clock, log and I/O", checkCore},
		{"one package comment each", checkPackageComments},
		{"exported names have comments", checkExported},
		{"nothing stands where it was not agreed", checkPlaces},
		{"no path of a machine in a file", checkMachinePaths},
		{"migrations match in both folders", checkMigrations},
		{"the environment is read in config and testkit only", checkEnvironment},
		{"the clock is read in cmd and testkit only", checkClock},
		{"no init functions", checkInit},
		{"the glossary's words in templates and manual", checkWords},
		{"every setting is in the manual", checkSettings},
		{"every sub-command is in the manual", checkCommands},
		{"every Go file parses", checkParsed},
	}
}

// Tree is the source tree.
type Tree struct {
	Files map[string]string // text files by path with slashes; others are empty
	Go    []*GoFile         // in the order of their paths
	Bad   []string          // what could not be parsed
}

// GoFile is one Go file, parsed.
type GoFile struct {
	Path string // internal/quantity/date.go
	Dir  string // internal/quantity
	AST  *ast.File
	Test bool // ends in _test.go
	// Outside: package x_test, which sees the package as others do.
	Outside bool
	Imports map[string]string // import path by the name it has in the file
	fset    *token.FileSet
}

// skipped are folders that hold nothing of the project's own.
func skipped(name string) bool {
	switch name {
	case ".git", "var", "bin", "dist":
		return true
	}
	return false
}

// Read reads a tree. Files over 4 MB and files with zero bytes are listed
// without their text.
func Read(fsys fs.FS) (*Tree, error) {
	t := &Tree{Files: map[string]string{}}
	fset := token.NewFileSet()
	err := fs.WalkDir(fsys, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() {
			if skipped(name) {
				return fs.SkipDir
			}
			return nil
		}
		switch path.Ext(name) {
		case ".test", ".out", ".prof": // what go test leaves behind
			return nil
		}
		text, err := readText(fsys, name, d)
		if err != nil {
			return err
		}
		t.Files[name] = text
		if path.Ext(name) == ".go" {
			t.parse(fset, name, text)
		}
		return nil
	})
	return t, err
}

func readText(fsys fs.FS, name string, d fs.DirEntry) (string, error) {
	info, err := d.Info()
	if err != nil || info.Size() > 4<<20 || !info.Mode().IsRegular() {
		return "", err
	}
	b, err := fs.ReadFile(fsys, name)
	if err != nil || strings.IndexByte(string(b), 0) >= 0 {
		return "", err
	}
	return string(b), nil
}

func (t *Tree) parse(fset *token.FileSet, name, text string) {
	f, err := parser.ParseFile(fset, name, text, parser.ParseComments|parser.SkipObjectResolution)
	if err != nil {
		t.Bad = append(t.Bad, err.Error())
		return
	}
	g := &GoFile{
		Path: name, Dir: path.Dir(name), AST: f, fset: fset,
		Test:    strings.HasSuffix(name, "_test.go"),
		Outside: strings.HasSuffix(f.Name.Name, "_test"),
		Imports: map[string]string{},
	}
	for _, spec := range f.Imports {
		p := strings.Trim(spec.Path.Value, "`\"")
		local := path.Base(p)
		if spec.Name != nil {
			local = spec.Name.Name
		}
		if local == "_" || local == "." {
			local += p // several may be
		}
		g.Imports[local] = p
	}
	t.Go = append(t.Go, g)
}

// at is the place of a node, for a sentence.
func (g *GoFile) at(n ast.Node) string {
	p := g.fset.Position(n.Pos())
	return p.String()
}

// names lists the paths of files under a folder, sorted.
func (t *Tree) names(dir string) []string {
	var names []string
	for name := range t.Files {
		if strings.HasPrefix(name, dir+"/") {
			names = append(names, name)
		}
	}
	sort.Strings(names)
	return names
}

// text is all text of the files under a folder with that extension.
func (t *Tree) text(dir, ext string) string {
	var b strings.Builder
	for _, name := range t.names(dir) {
		if path.Ext(name) == ext {
			b.WriteString(t.Files[name])
			b.WriteByte('\n')
		}
	}
	return b.String()
}

func checkParsed(t *Tree) []string { return t.Bad }
