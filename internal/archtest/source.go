package archtest

import (
	"fmt"
	"go/ast"
	"go/token"
	"strings"
)

// checkPackageComments wants one package comment for each package.
func checkPackageComments(t *Tree) []string {
	comments := map[string][]string{}
	var dirs []string
	for _, g := range t.Go {
		if g.Test {
			continue
		}
		if _, seen := comments[g.Dir]; !seen {
			dirs = append(dirs, g.Dir)
			comments[g.Dir] = nil
		}
		if g.AST.Doc != nil {
			comments[g.Dir] = append(comments[g.Dir], g.Path)
			want := "Package " + g.AST.Name.Name + " "
			if g.AST.Name.Name == "main" {
				want = "Command "
			}
			if !strings.HasPrefix(g.AST.Doc.Text(), want) {
				comments[g.Dir] = append(comments[g.Dir], "which does not begin with "+want)
			}
		}
	}
	var bad []string
	for _, dir := range dirs {
		if len(comments[dir]) != 1 {
			bad = append(bad, fmt.Sprintf("%s must have one package comment, has %d: %s", dir, len(comments[dir]), strings.Join(comments[dir], ", ")))
		}
	}
	return bad
}

// checkExported wants a comment on each exported name at the top of a file.
// One on the group is enough for constants and variables, and for types if it
// names them.
func checkExported(t *Tree) []string {
	var bad []string
	for _, g := range t.Go {
		if g.Test {
			continue
		}
		missing := func(id *ast.Ident) {
			bad = append(bad, fmt.Sprintf("%s: %s has no comment", g.at(id), id.Name))
		}
		for _, d := range g.AST.Decls {
			switch d := d.(type) {
			case *ast.FuncDecl:
				if d.Doc == nil && d.Name.IsExported() && exportedReceiver(d) {
					missing(d.Name)
				}
			case *ast.GenDecl:
				for _, id := range uncommented(d) {
					missing(id)
				}
			}
		}
	}
	return bad
}

func exportedReceiver(d *ast.FuncDecl) bool {
	if d.Recv == nil {
		return true
	}
	typ := d.Recv.List[0].Type
	for {
		switch x := typ.(type) {
		case *ast.StarExpr:
			typ = x.X
		case *ast.IndexExpr:
			typ = x.X
		case *ast.IndexListExpr:
			typ = x.X
		case *ast.Ident:
			return x.IsExported()
		default:
			return true
		}
	}
}

// uncommented are the exported names of a declaration without a comment.
func uncommented(d *ast.GenDecl) []*ast.Ident {
	var ids []*ast.Ident
	for _, s := range d.Specs {
		switch s := s.(type) {
		case *ast.TypeSpec:
			onGroup := d.Doc != nil && (!d.Lparen.IsValid() || strings.Contains(d.Doc.Text(), s.Name.Name))
			if s.Name.IsExported() && s.Doc == nil && s.Comment == nil && !onGroup {
				ids = append(ids, s.Name)
			}
		case *ast.ValueSpec:
			for _, id := range s.Names {
				if id.IsExported() && s.Doc == nil && s.Comment == nil && d.Doc == nil {
					ids = append(ids, id)
				}
			}
		}
	}
	return ids
}

// uses lists where a file names one of the functions of a package.
func (g *GoFile) uses(pkg string, functions ...string) []string {
	local := ""
	for name, p := range g.Imports {
		if p == pkg {
			local = name
		}
	}
	if local == "" {
		return nil
	}
	var at []string
	ast.Inspect(g.AST, func(n ast.Node) bool {
		sel, ok := n.(*ast.SelectorExpr)
		if !ok {
			return true
		}
		x, ok := sel.X.(*ast.Ident)
		if !ok || x.Name != local {
			return true
		}
		for _, f := range functions {
			if sel.Sel.Name == f {
				at = append(at, g.at(sel)+" uses "+pkg+"."+f)
			}
		}
		return true
	})
	return at
}

// checkEnvironment finds what reads the environment, in tests too: what the
// program does is said by its settings alone.
func checkEnvironment(t *Tree) []string {
	var bad []string
	for _, g := range t.Go {
		if under(g.Dir, "internal/config") || under(g.Dir, "internal/testkit") {
			continue
		}
		for _, u := range g.uses("os", "Getenv", "LookupEnv", "Environ", "ExpandEnv") {
			bad = append(bad, u+"; settings come from config, a test's from testkit")
		}
		for _, u := range g.uses("syscall", "Getenv", "Environ") {
			bad = append(bad, u+"; settings come from config, a test's from testkit")
		}
	}
	return bad
}

// checkClock finds what reads the clock. Tests may: they measure.
func checkClock(t *Tree) []string {
	var bad []string
	for _, g := range t.Go {
		if g.Test || under(g.Dir, "cmd") || under(g.Dir, "internal/testkit") {
			continue
		}
		for _, u := range g.uses("time", "Now", "Since", "Until") {
			bad = append(bad, u+"; the time is an argument, made in cmd")
		}
	}
	return bad
}

// checkInit finds init functions: they run unasked and in an order nobody
// sees.
func checkInit(t *Tree) []string {
	var bad []string
	for _, g := range t.Go {
		for _, d := range g.AST.Decls {
			if f, ok := d.(*ast.FuncDecl); ok && f.Recv == nil && f.Name.Name == "init" {
				bad = append(bad, g.at(f)+" is an init function")
			}
		}
	}
	return bad
}

// structs are the struct types of the files in a folder, by name.
func (t *Tree) structs(dir string) map[string]*ast.StructType {
	all := map[string]*ast.StructType{}
	for _, g := range t.Go {
		if g.Dir != dir || g.Test {
			continue
		}
		for _, d := range g.AST.Decls {
			gen, ok := d.(*ast.GenDecl)
			if !ok || gen.Tok != token.TYPE {
				continue
			}
			for _, s := range gen.Specs {
				spec := s.(*ast.TypeSpec)
				if st, ok := spec.Type.(*ast.StructType); ok {
					all[spec.Name.Name] = st
				}
			}
		}
	}
	return all
}
