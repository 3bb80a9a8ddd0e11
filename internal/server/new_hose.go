package server

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"slices"
	"strings"

	"github.com/labstack/echo/v4"

	"hoseward/internal/hose"
	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// newHose is the part of a form that says what comes to a position: one from
// store, or one described by its printed line. The partial "new-hose" prints
// it.
type newHose struct {
	From     field // the ones in store; without options where there is none
	More     int   // in store, but not listed
	Site     string
	Parts    hoseParts
	Same     string // the code of the one to take over from; empty if there is none
	Release  []field
	Released bool // the part about a release is to be seen
	Checks   []string
	Key      string // of the checks, as the form sends it back
}

// mostInStore is how many assemblies in store a form offers.
const mostInStore = 200

// comesForm is that part for a place; read is what was read of the form, nil
// before anything was sent.
func (s *Server) comesForm(c echo.Context, p place, f *form, read *hoseReading, checks []string, do string) (newHose, error) {
	ctx := c.Request().Context()
	n := newHose{Parts: f.hoseParts(read, do), Site: p.sheet.Site.Name, Release: releaseFields(f, s.mayAt(c, p.sheet.Site.ID)), Checks: checks, Key: digest(checks)}
	if p.like != nil {
		n.Same = p.like.Assembly.Code
	}
	stored, err := s.store(c).Assemblies(ctx, s.deps.Now(), register.AssemblyFilter{Site: p.sheet.Site.Name, Where: inStore, Limit: 1000})
	if err != nil {
		return n, wrap("list what is in store", err)
	}
	offers := p.offers(stored.Lines)
	if len(offers) > mostInStore {
		n.More, offers = len(offers)-mostInStore, offers[:mostInStore]
	}
	n.From = f.field("from", "From store").wide().hint("What fits by size and length comes first. Or leave it and describe the new hose below.")
	if len(offers) > 0 {
		n.From = n.From.choose(append([]option{{"", "none of these: described below"}}, offers...)...)
	}
	for _, fd := range n.Release {
		n.Released = n.Released || fd.Value != "" || fd.Error != ""
	}
	return n, nil
}

// inStore is the filter for assemblies that are not fitted and not scrapped.
const inStore = "in store"

// offer is one assembly in store, with how well it fits: the lower the rank
// the better.
type offer struct {
	option
	rank int
}

// offers are the assemblies in store as choices, those that fit first.
func (p place) offers(stored []register.AssemblyLine) []option {
	var offers []offer
	for _, l := range stored {
		offers = append(offers, p.offer(l))
	}
	slices.SortStableFunc(offers, func(a, b offer) int { return a.rank - b.rank })
	out := make([]option, len(offers))
	for i, o := range offers {
		out[i] = o.option
	}
	return out
}

func (p place) offer(l register.AssemblyLine) offer {
	a := l.Assembly
	words, rank := "", 0
	size, asked := hose.Size{DN: a.DN, Dash: a.Dash}.Complete(), p.size()
	length := p.length()
	switch {
	case asked.IsZero():
	case size != asked:
		words, rank = "another size", 3
	case length == nil || a.LengthMM == nil:
		words, rank = "same size", 1
	case lengthDiffers(*a.LengthMM, *length, size):
		words, rank = "same size, another length", 2
	default:
		words, rank = "fits by size and length", 0
	}
	text := a.Code + " – " + hoseWords(a, p.style)
	if when := a.Assembled; !when.IsZero() {
		text += ", assembled " + p.style.Period(when)
	} else if !a.Made.IsZero() {
		text += ", made " + p.style.Period(a.Made)
	}
	if words != "" {
		text += " – " + words
	}
	no := p.mayNot(l)
	if no == "" && len(l.Warnings) > 0 {
		no = "needs a release"
	}
	if no != "" {
		text, rank = text+" – "+no, rank+4
	}
	return offer{option{a.Code, text}, rank}
}

// mayNot says in a few words why an assembly in store may not be fitted here
// without a release, as far as its own dates tell; the register looks closer.
func (p place) mayNot(l register.AssemblyLine) string {
	facts := register.Facts{Policies: map[int64]register.Policy{}, Sites: map[int64]register.Site{p.sheet.Site.ID: p.sheet.Site}}
	in, err := facts.LifeInput(&register.AssemblyFacts{Assembly: l.Assembly}, p.sheet.Today)
	if err != nil {
		return ""
	}
	in.Policy = p.policy.Policy
	var no *life.FitError
	if !errors.As(life.MayFit(&in, p.sheet.Today), &no) {
		return ""
	}
	if no.Rule == life.RuleUnknownAge {
		return "age not known"
	}
	if no.Until.IsZero() {
		return "not to be fitted without a release"
	}
	return "too old since " + p.style.Date(no.Until) + ", needs a release"
}

// takeOver fills what is empty with what the old hose is: designation, size,
// length and kinds of ends, never its dates or ratings, which are the new one's
// own.
func (f *form) takeOver(old register.Assembly) {
	size := hose.Size{DN: old.DN, Dash: old.Dash}
	for name, value := range map[string]string{"designation": old.Designation, "end_a": old.EndA, "end_b": old.EndB} {
		f.set(name, value)
	}
	if !size.IsZero() {
		f.set("size", size.String())
	}
	if old.LengthMM != nil {
		f.set("length", f.style.MM(old.LengthMM))
	}
}

// comes is what a form says comes to a position.
type comes struct {
	code     string // of one in store; empty for one that is described
	assembly register.Assembly
	off      quantity.Date // when it last came off; no date if it never was fitted
	damaged  string        // what was found on it and nobody released, in a sentence
	read     *hoseReading
}

// newOne reads what comes. One that is chosen from store is not described too.
func (s *Server) newOne(c echo.Context, p place, f *form) (comes, error) {
	ctx := c.Request().Context()
	n := comes{code: f.text("from"), read: readHose(f, p.sheet.Today)}
	if n.code == "" {
		n.assembly = f.described(n.read)
		n.untilAnswered()
		if !f.describes() {
			f.wrong(fromOr(f, "layline"), "Say what was fitted: choose one from store, or copy the printed line of the new hose. Where nothing can be read, give at least designation or size.")
		}
		return n, nil
	}
	if f.describes() {
		f.wrong("from", "Choose one from store or describe the new hose, not both: empty the fields of one of the two.")
	}
	if strings.EqualFold(n.code, p.oldCode()) {
		f.wrong("from", n.code+" is the one that sits here.")
		return n, nil
	}
	sheet, err := s.store(c).AssemblySheet(ctx, s.deps.Now(), n.code)
	if refusal := asRegisterError(err); refusal != nil {
		f.wrong("from", refusal.Sentence)
		return n, nil
	}
	n.assembly, n.damaged = sheet.Assembly, f.damaged(sheet)
	for _, v := range sheet.Placements {
		if v.Placement.To.After(n.off) {
			n.off = v.Placement.To
		}
	}
	return n, wrap("find what is in store", err)
}

// damaged says that damage was found on an assembly which only its removal
// closed, or a move would close: nobody judged that it may be fitted again. It
// is empty where there was none, or somebody releases the assembly.
func (f *form) damaged(sheet register.AssemblySheet) string {
	for _, n := range sheet.Findings {
		judged := n.ClosedHow == register.ClosedByRelease || n.ClosedHow == register.ClosedDone
		if judged || n.Class != life.Stop && n.Class != life.Replace {
			continue
		}
		return sheet.Assembly.Code + ": on " + f.style.Date(n.SeenOn) + " an inspection found “" + findingWords(n) + "” (class " + string(n.Class) + "), and nobody released it. Do not fit it; a damaged hose is scrapped."
	}
	return ""
}

// release refuses to fit a damaged assembly unless somebody releases it with a
// name and a reason.
func (f *form) release(damaged string) {
	if damaged != "" && (f.text("released_by") == "" || f.text("reason") == "") {
		f.wrong("released_by", damaged+" Only a release with a name and a reason lets it be fitted.")
	}
}

// untilAnswered takes the safer reading of what can be read in more than one
// way and was not answered yet, so that the checks have something to look at.
// Nothing of it is saved: what was not answered is wrong.
func (n *comes) untilAnswered() {
	if n.assembly.Made.IsZero() {
		n.assembly.Made = n.read.made.earliest
	}
	if n.assembly.Assembled.IsZero() {
		n.assembly.Assembled = n.read.assembled.earliest
	}
	if len(n.read.sizes) > 1 && n.assembly.DN == 0 && n.assembly.Dash == 0 {
		n.assembly.DN, n.assembly.Dash = n.read.sizes[0].Size.DN, n.read.sizes[0].Size.Dash
	}
}

func fromOr(f *form, other string) string {
	if _, has := f.values["from"]; has {
		return "from"
	}
	return other
}

// commands add the new one, if it is described, and fit it.
func (n comes) commands(f *form, p place, on quantity.Date, onText string, hours *float64) []register.Command {
	fit := register.Fit{
		AssemblyCode: n.code, Machine: p.sheet.Machine.Code, Position: p.position, On: on, OnText: onText, Hours: hours,
		ReleasedBy: f.text("released_by"), Reason: f.text("reason"),
	}
	if n.code != "" {
		return []register.Command{fit}
	}
	return []register.Command{register.AddAssembly{Site: p.sheet.Site.Name, Assembly: n.assembly}, fit}
}

// digest stands for lines that a page showed: the same ones have the same.
func digest(lines []string) string {
	sum := sha256.Sum256([]byte(strings.Join(lines, "\n")))
	return hex.EncodeToString(sum[:8])
}

// toCheck reports whether the page this form came from has not shown these
// checks.
func (f *form) toCheck(checks []string) bool {
	return len(checks) > 0 && f.text("checked") != digest(checks)
}
