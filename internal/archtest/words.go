package archtest

import (
	"fmt"
	"go/ast"
	"path"
	"reflect"
	"regexp"
	"strings"
	"unicode"
)

// forbidden are words the glossary does not use.
var forbidden = regexp.MustCompile(`(?i)\b(assets?|tag ids?|work orders?|tickets?|passports?|mut(e|es|ed|ing)|silenc(e|es|ed|ing)|acknowledg\w*|traffic[- ]lights?)\b`)

// unseen are the parts of a template that nobody reads on the page, and the
// one turn of plain English that is no label.
var unseen = regexp.MustCompile(`(?s)\{\{.*?\}\}|<!--.*?-->|\s(href|src|class|id|name|action)="[^"]*"|\bin silence\b`)

// checkWords reads what people read: templates and manual.
func checkWords(t *Tree) []string {
	var bad []string
	for _, dir := range []string{"web/templates", "web/manual"} {
		for _, name := range t.names(dir) {
			text := unseen.ReplaceAllStringFunc(t.Files[name], func(s string) string {
				return strings.Repeat("\n", strings.Count(s, "\n")) + " "
			})
			for i, line := range strings.Split(text, "\n") {
				if word := forbidden.FindString(line); word != "" {
					bad = append(bad, fmt.Sprintf("%s:%d says %q; the glossary has another word", name, i+1, word))
				}
			}
		}
	}
	return bad
}

// InManual returns a sentence for each of the words that the manual does not
// have as a word of its own. A word may be given in two forms with a | between
// them, of which one will do.
func InManual(t *Tree, what string, words []string) []string {
	manual := t.text("web/manual", ".md")
	var bad []string
	if len(words) == 0 {
		bad = append(bad, "no "+what+" found to look for in the manual")
	}
	for _, w := range words {
		forms := strings.Split(w, "|")
		for i := range forms {
			forms[i] = regexp.QuoteMeta(forms[i])
		}
		whole := regexp.MustCompile(`(^|[^\w-])(` + strings.Join(forms, "|") + `)($|[^\w-])`)
		if !whole.MatchString(manual) {
			bad = append(bad, fmt.Sprintf("web/manual says nothing of the %s %s", what, w))
		}
	}
	return bad
}

// checkSettings wants flag and variable of each setting in the manual. The
// settings are the fields of config.Flags.
func checkSettings(t *Tree) []string {
	var words []string
	flags := t.structs("internal/config")["Flags"]
	if flags == nil {
		return []string{"internal/config has no struct Flags"}
	}
	for _, f := range flags.Fields.List {
		tag := tagOf(f)
		words = append(words, "--"+tag.Get("name"), tag.Get("env"))
		if _, secret := tag.Lookup("secret"); secret {
			words = append(words, tag.Get("env")+"_FILE")
		}
	}
	return InManual(t, "setting", words)
}

func tagOf(f *ast.Field) reflect.StructTag {
	if f.Tag == nil {
		return ""
	}
	return reflect.StructTag(strings.Trim(f.Tag.Value, "`"))
}

// checkCommands wants each sub-command in the manual, written hoseward serve,
// hoseward calc life. The sub-commands are the fields tagged cmd of the struct
// commands in cmd/hoseward, and of theirs.
func checkCommands(t *Tree) []string {
	return InManual(t, "sub-command", subCommands(t.structs(path.Join("cmd", Module)), "commands", Module))
}

func subCommands(structs map[string]*ast.StructType, of, prefix string) []string {
	var words []string
	st := structs[of]
	if st == nil {
		return nil
	}
	for _, f := range st.Fields.List {
		tag := tagOf(f)
		if _, ok := tag.Lookup("cmd"); !ok || len(f.Names) == 0 {
			continue
		}
		name := tag.Get("name")
		if name == "" {
			name = dashed(f.Names[0].Name)
		}
		below := subCommands(structs, typeName(f.Type), prefix+" "+name)
		if len(below) == 0 {
			below = []string{prefix + " " + name}
		}
		words = append(words, below...)
	}
	return words
}

func typeName(e ast.Expr) string {
	if p, ok := e.(*ast.StarExpr); ok {
		e = p.X
	}
	if id, ok := e.(*ast.Ident); ok {
		return id.Name
	}
	return ""
}

// dashed is a field's name as a sub-command: DryRun is dry-run.
func dashed(s string) string {
	var b strings.Builder
	for i, r := range s {
		if i > 0 && unicode.IsUpper(r) {
			b.WriteByte('-')
		}
		b.WriteRune(unicode.ToLower(r))
	}
	return b.String()
}
