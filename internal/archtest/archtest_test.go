package archtest_test

import (
	"os"
	"strings"
	"testing"
	"testing/fstest"

	"hoseward/internal/archtest"
	"hoseward/internal/exchange"
)

func tree(t *testing.T) *archtest.Tree {
	t.Helper()
	tree, err := archtest.Read(os.DirFS("../.."))
	if err != nil {
		t.Fatal(err)
	}
	if len(tree.Go) < 20 {
		t.Fatalf("read only %d Go files", len(tree.Go))
	}
	return tree
}

func TestTree_KeepsTheRules(t *testing.T) {
	tree := tree(t)
	for _, r := range archtest.Rules() {
		t.Run(r.Name, func(t *testing.T) {
			for _, bad := range r.Check(tree) {
				t.Error(bad)
			}
		})
	}
}

func TestTree_EveryImportColumnIsInTheManual(t *testing.T) {
	tree := tree(t)
	for _, kind := range exchange.Kinds() {
		var names []string
		for _, f := range exchange.Fields(kind) {
			names = append(names, f.Title+"|"+f.Name)
		}
		for _, bad := range archtest.InManual(tree, "column of "+string(kind), names) {
			t.Error(bad)
		}
	}
}

// violations are small trees that break one rule each, or two where the one
// brings the other.
var violations = []struct {
	rule, why string
	files     map[string]string
	says      string
}{
	{
		"imports follow the arrows", "a package to the left imports one to the right",
		map[string]string{"internal/hose/a.go": "package hose\nimport _ \"hoseward/internal/life\""},
		"no arrow from internal/hose",
	},
	{
		"imports follow the arrows", "a test inside a package obeys the arrows too",
		map[string]string{"internal/hose/a_test.go": "package hose\nimport _ \"hoseward/internal/life\""},
		"no arrow",
	},
	{
		"imports follow the arrows", "the parts of life know nothing of one another",
		map[string]string{"internal/life/heat/a.go": "package heat\nimport _ \"hoseward/internal/life/usage\""},
		"no arrow",
	},
	{
		"imports follow the arrows", "server does not see store",
		map[string]string{"internal/server/a.go": "package server\nimport _ \"hoseward/internal/store\""},
		"no arrow",
	},
	{
		"imports follow the arrows", "a second import of the blank name is seen",
		map[string]string{"internal/hose/a.go": "package hose\nimport _ \"hoseward/internal/quantity\"\nimport _ \"hoseward/internal/store\""},
		"internal/store",
	},
	{
		"imports follow the arrows", "the program uses testkit",
		map[string]string{"cmd/hoseward/a.go": "package main\nimport _ \"hoseward/internal/testkit\""},
		"only tests",
	},
	{
		"imports follow the arrows", "a test inside a package uses testkit",
		map[string]string{"internal/store/a_test.go": "package store\nimport _ \"hoseward/internal/testkit\""},
		"only tests",
	},
	{
		"imports follow the arrows", "a package nobody drew",
		map[string]string{"internal/util/a.go": "package util"},
		"no line in the table",
	},
	{
		"each library has one home", "gorm outside store",
		map[string]string{"internal/register/a.go": "package register\nimport _ \"gorm.io/gorm\""},
		"internal/store",
	},
	{
		"each library has one home", "cron outside jobs",
		map[string]string{"cmd/hoseward/a.go": "package main\nimport _ \"github.com/robfig/cron/v3\""},
		"[jobs]",
	},
	{
		"each library has one home", "gorm in a test inside another package",
		map[string]string{"jobs/a_test.go": "package jobs\nimport _ \"gorm.io/gorm\""},
		"internal/store",
	},
	{
		"each library has one home", "a test library in the program",
		map[string]string{"internal/life/a.go": "package life\nimport _ \"pgregory.net/rapid\""},
		"pgregory.net/rapid",
	},
	{
		"each library has one home", "package testing in the program",
		map[string]string{"internal/life/a.go": "package life\nimport _ \"testing\""},
		"imports testing",
	},
	{
		"each library has one home", "a library nobody agreed on",
		map[string]string{"web/a.go": "package web\nimport _ \"example.org/markdown\""},
		"no home yet",
	},
	{
		"the core keeps off clock, log and I/O", "life reads files",
		map[string]string{"internal/life/a.go": "package life\nimport _ \"os\""},
		"no I/O",
	},
	{
		"the core keeps off clock, log and I/O", "life writes a log",
		map[string]string{"internal/life/heat/a.go": "package heat\nimport _ \"log/slog\""},
		"no I/O",
	},
	{
		"the core keeps off clock, log and I/O", "register rolls dice",
		map[string]string{"internal/register/a.go": "package register\nimport _ \"math/rand\""},
		"no chance",
	},
	{"one package comment each", "none", map[string]string{"web/a.go": "package web"}, "has 0"},
	{
		"one package comment each", "two",
		map[string]string{"web/a.go": "// Package web is.\npackage web", "web/b.go": "// Package web is.\npackage web"},
		"has 2",
	},
	{
		"one package comment each", "a comment that does not begin with the name",
		map[string]string{"web/a.go": "// Pages.\npackage web"},
		"does not begin",
	},
	{"exported names have comments", "a function", map[string]string{"web/a.go": "package web\nfunc A() {}"}, "A has no comment"},
	{
		"exported names have comments", "a method of an exported generic type",
		map[string]string{"web/a.go": "package web\n// T is.\ntype T[K any] struct{}\nfunc (t *T[K]) M() {}"},
		"M has no comment",
	},
	{"exported names have comments", "a type in a group", map[string]string{"web/a.go": "package web\n// Types.\ntype (\nA int\n)"}, "A has no comment"},
	{"exported names have comments", "a constant", map[string]string{"web/a.go": "package web\nconst A = 1"}, "A has no comment"},
	{"nothing stands where it was not agreed", "a folder at the top", map[string]string{"scripts/a.sh": "true"}, "scripts"},
	{"nothing stands where it was not agreed", "a package nobody drew", map[string]string{"internal/util/a.txt": ""}, "internal/util"},
	{"no path of a machine in a file", "a home folder", map[string]string{"README.md": "see /" + "home/ann/x"}, "README.md:1"},
	{"no path of a machine in a file", "a temporary file", map[string]string{"Makefile": "\n\techo > /" + "tmp/x"}, "Makefile:2"},
	{"no path of a machine in a file", "a folder beside the tree", map[string]string{"web/manual/a.md": "../shared" + "/design/x.md"}, "a.md:1"},
	{
		"migrations match in both folders", "one engine lacks one",
		map[string]string{"migrations/sqlite/0001_a.sql": "", "migrations/postgres/0001_b.sql": ""},
		"migrations/postgres has no 0001_a.sql",
	},
	{
		"migrations match in both folders", "a gap",
		map[string]string{"migrations/sqlite/0002_a.sql": "", "migrations/postgres/0002_a.sql": ""},
		"the number 0001",
	},
	{"migrations match in both folders", "none at all", map[string]string{"web/a.md": ""}, "no migration"},
	{
		"migrations match in both folders", "a name without number",
		map[string]string{"migrations/sqlite/a.sql": ""},
		"not named like",
	},
	{
		"the environment is read in config and testkit only", "a renamed import",
		map[string]string{"internal/store/a.go": "package store\nimport sys \"os\"\nvar a = sys.Getenv(\"A\")"},
		"os.Getenv",
	},
	{
		"the environment is read in config and testkit only", "a test",
		map[string]string{"internal/store/a_test.go": "package store\nimport \"os\"\nvar a, _ = os.LookupEnv(\"A\")"},
		"os.LookupEnv",
	},
	{
		"the clock is read in cmd and testkit only", "a call",
		map[string]string{"internal/store/a.go": "package store\nimport \"time\"\nvar a = time.Now()"},
		"time.Now",
	},
	{
		"the clock is read in cmd and testkit only", "a function value",
		map[string]string{"jobs/a.go": "package jobs\nimport \"time\"\nvar a = time.Now"},
		"time.Now",
	},
	{"no init functions", "one", map[string]string{"web/a.go": "package web\nfunc init() {}"}, "init function"},
	{
		"the glossary's words in templates and manual", "a button",
		map[string]string{"web/templates/pages/a.html": "<p>\n<button>Acknowledged</button>"},
		"a.html:2",
	},
	{
		"the glossary's words in templates and manual", "a title attribute, behind an action of two lines",
		map[string]string{"web/templates/a.html": "{{/* asset\n */}}<p title=\"the asset\">"},
		"a.html:2",
	},
	{
		"the glossary's words in templates and manual", "the manual",
		map[string]string{"web/manual/a.md": "Open a work order."},
		"work order",
	},
	{
		"every setting is in the manual", "a flag that is only part of another word",
		map[string]string{"internal/config/a.go": "package config\ntype Flags struct { DB string `name:\"db\" env:\"HOSEWARD_DB\"` }", "web/manual/a.md": "--db-path HOSEWARD_DB"},
		"setting --db",
	},
	{
		"every setting is in the manual", "the file of a secret",
		map[string]string{"internal/config/a.go": "package config\ntype Flags struct { DB string `name:\"db\" env:\"HOSEWARD_DB\" secret:\"\"` }", "web/manual/a.md": "--db HOSEWARD_DB"},
		"HOSEWARD_DB_FILE",
	},
	{"every setting is in the manual", "no settings at all", map[string]string{"web/manual/a.md": ""}, "no struct Flags"},
	{
		"every sub-command is in the manual", "one below another",
		map[string]string{"cmd/hoseward/a.go": "package main\ntype commands struct { Calc calc `cmd:\"\"` }\ntype calc struct { DryRun run `cmd:\"\"` }", "web/manual/a.md": "hoseward calc"},
		"hoseward calc dry-run",
	},
	{"every sub-command is in the manual", "none found", map[string]string{"web/manual/a.md": ""}, "no sub-command found"},
	{"every Go file parses", "half a file", map[string]string{"web/a.go": "package web\nfunc"}, "a.go:2"},
}

func TestRules_EachCanFail(t *testing.T) {
	rules := map[string]archtest.Rule{}
	proven := map[string]bool{}
	for _, r := range archtest.Rules() {
		rules[r.Name] = r
	}
	for _, v := range violations {
		t.Run(v.rule+"/"+v.why, func(t *testing.T) {
			r, ok := rules[v.rule]
			if !ok {
				t.Fatal("there is no such rule")
			}
			proven[v.rule] = true
			bad := strings.Join(r.Check(memory(t, v.files)), "\n")
			if !strings.Contains(bad, v.says) {
				t.Errorf("got %q, want it to say %q", bad, v.says)
			}
		})
	}
	for name := range rules {
		if !proven[name] {
			t.Errorf("no small tree breaks the rule %q", name)
		}
	}
}

func TestInManual_WholeWords(t *testing.T) {
	tree := memory(t, map[string]string{"web/manual/a.md": "| Rating (bar) | made_text |"})
	if bad := archtest.InManual(tree, "column", []string{"Rating (bar)|rated_bar", "Made as text|made_text"}); len(bad) > 0 {
		t.Errorf("got %q", bad)
	}
	if bad := archtest.InManual(tree, "column", []string{"Made|made", "Rating|rated"}); len(bad) != 1 {
		t.Errorf("got %q, want Made refused: it is only part of a word", bad)
	}
	if bad := archtest.InManual(tree, "column", nil); len(bad) != 1 {
		t.Errorf("got %q, want no columns refused", bad)
	}
}

func memory(t *testing.T, files map[string]string) *archtest.Tree {
	t.Helper()
	m := fstest.MapFS{}
	for name, text := range files {
		m[name] = &fstest.MapFile{Data: []byte(text)}
	}
	tree, err := archtest.Read(m)
	if err != nil {
		t.Fatal(err)
	}
	return tree
}

func TestRules_LetThrough(t *testing.T) {
	for _, v := range []struct {
		rule, why string
		files     map[string]string
	}{
		{
			"imports follow the arrows", "a test outside the package",
			map[string]string{"internal/hose/a_test.go": "package hose_test\nimport _ \"hoseward/internal/store\"\nimport _ \"hoseward/internal/testkit\""},
		},
		{
			"imports follow the arrows", "what is below a package has its arrows",
			map[string]string{"internal/server/api/a.go": "package api\nimport _ \"hoseward/internal/server/session\"\nimport _ \"hoseward/internal/life/heat\""},
		},
		{"each library has one home", "types that store themselves", map[string]string{"internal/quantity/a.go": "package quantity\nimport _ \"database/sql/driver\""}},
		{"each library has one home", "a test library in a test", map[string]string{"internal/life/a_test.go": "package life\nimport _ \"pgregory.net/rapid\"\nimport _ \"testing\""}},
		{"exported names have comments", "a method of a type nobody sees", map[string]string{"web/a.go": "package web\ntype t int\nfunc (t) M() {}"}},
		{"exported names have comments", "a comment on the group", map[string]string{"web/a.go": "package web\n// The ways.\nconst (\nA = 1\nB = 2\n)"}},
		{"the glossary's words in templates and manual", "an address nobody reads", map[string]string{"web/templates/a.html": "<a href=\"/assets/x\">{{asset \"x\"}}</a>"}},
		{"the environment is read in config and testkit only", "config", map[string]string{"internal/config/a.go": "package config\nimport \"os\"\nvar a = os.Getenv(\"A\")"}},
		{"the clock is read in cmd and testkit only", "a test", map[string]string{"internal/store/a_test.go": "package store\nimport \"time\"\nvar a = time.Now()"}},
		{"no path of a machine in a file", "a path of the web", map[string]string{"web/a.md": "https://example.org/" + "home/x and /static/root/ and a/tmp/b"}},
	} {
		t.Run(v.rule+"/"+v.why, func(t *testing.T) {
			for _, r := range archtest.Rules() {
				if r.Name != v.rule {
					continue
				}
				if bad := r.Check(memory(t, v.files)); len(bad) > 0 {
					t.Errorf("got %q", bad)
				}
			}
		})
	}
}
