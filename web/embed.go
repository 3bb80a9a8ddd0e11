// Package web holds what pages and mails are made of: templates, style sheet,
// script, the manual, and the functions that print dates, units and statuses
// the same way in all of them.
//
// The main idea is that a template decides nothing: it is given one struct,
// whose types a test checks it against, and prints it. The package fetches no
// data, serves no request and knows no page's struct.
package web

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"html/template"
	"io/fs"
	"path"
	"strings"
	"sync"
)

//go:embed templates static manual
var content embed.FS

// Pages is the names of all page templates, sorted.
func Pages() ([]string, error) {
	files, err := fs.Glob(content, "templates/pages/*.html")
	if err != nil {
		return nil, fmt.Errorf("list page templates: %w", err)
	}
	for i, f := range files {
		files[i] = strings.TrimSuffix(path.Base(f), ".html")
	}
	return files, nil
}

// Page is the template of one page together with the layout and the partials
// it stands in, printing in the zero Style. Executing it renders the layout
// with the page in it.
func Page(name string) (*template.Template, error) {
	t, err := template.New("layout.html").Funcs(Funcs(Style{})).ParseFS(content,
		"templates/layout.html", "templates/partials/*.html", "templates/pages/"+name+".html")
	if err != nil {
		return nil, fmt.Errorf("parse page %s: %w", name, err)
	}
	return t, nil
}

// Printer is page templates in every style. It may be used by many at once.
type Printer struct {
	parsed map[string]*template.Template // never executed, so that they can be copied
	styled sync.Map                      // of printing to *template.Template
}

// printing is a page in a style.
type printing struct {
	page  string
	style Style
}

// NewPrinter parses the templates of the named pages.
func NewPrinter(pages ...string) (*Printer, error) {
	p := &Printer{parsed: map[string]*template.Template{}}
	for _, name := range pages {
		t, err := Page(name)
		if err != nil {
			return nil, err
		}
		p.parsed[name] = t
	}
	return p, nil
}

// Page is the template of one page, printing in a style; an unknown page is an
// error. Each is made once, when it is first asked for.
func (p *Printer) Page(name string, s Style) (*template.Template, error) {
	key := printing{name, s.printed()}
	if t, ok := p.styled.Load(key); ok {
		return t.(*template.Template), nil
	}
	parsed, ok := p.parsed[name]
	if !ok {
		return nil, fmt.Errorf("no template of the name %s", name)
	}
	t, err := parsed.Clone()
	if err != nil {
		return nil, fmt.Errorf("copy page %s: %w", name, err)
	}
	made, _ := p.styled.LoadOrStore(key, t.Funcs(Funcs(key.style)))
	return made.(*template.Template), nil
}

// Static is the files sent as they are, and one hash over all of them, which
// changes whenever one of them does.
func Static() (files fs.FS, hash string, err error) {
	files, err = fs.Sub(content, "static")
	if err != nil {
		return nil, "", fmt.Errorf("open static files: %w", err)
	}
	sum := sha256.New()
	err = fs.WalkDir(files, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := fs.ReadFile(files, name)
		if err != nil {
			return err
		}
		fmt.Fprintf(sum, "%s %d\n", name, len(b))
		sum.Write(b)
		return nil
	})
	if err != nil {
		return nil, "", fmt.Errorf("hash static files: %w", err)
	}
	return files, hex.EncodeToString(sum.Sum(nil))[:16], nil
}

// ManualPage is one page of the manual.
type ManualPage struct {
	Name  string // as in its address
	Title string // its first heading
	Text  []byte // Markdown, without the first heading
}

// Manual is the pages of the manual in reading order: the files' names begin
// with two digits, which the pages' names leave out.
func Manual() ([]ManualPage, error) {
	files, err := fs.Glob(content, "manual/*.md")
	if err != nil {
		return nil, fmt.Errorf("list the manual: %w", err)
	}
	pages := make([]ManualPage, 0, len(files))
	for _, f := range files {
		b, err := fs.ReadFile(content, f)
		if err != nil {
			return nil, fmt.Errorf("read the manual: %w", err)
		}
		title, text, _ := strings.Cut(string(b), "\n")
		name := strings.TrimSuffix(path.Base(f), ".md")
		pages = append(pages, ManualPage{Name: name[3:], Title: strings.TrimPrefix(title, "# "), Text: []byte(text)})
	}
	return pages, nil
}
