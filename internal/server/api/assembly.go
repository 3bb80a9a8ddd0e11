package api

import (
	"net/http"
	"strings"

	"hoseward/internal/hose"
	"hoseward/internal/life"
	"hoseward/internal/register"
)

// AssemblyFields are what is written of an assembly.
type AssemblyFields struct {
	Layline       string   `json:"layline,omitzero" maxLength:"4000" doc:"The line printed along the hose, as it stands. POST /laylines reads it."`
	Maker         string   `json:"maker,omitzero" maxLength:"200" doc:"Maker of the hose, as printed."`
	Designation   string   `json:"designation,omitzero" maxLength:"200" doc:"Standard and type." example:"EN 853 2SN"`
	Construction  string   `json:"construction,omitzero" maxLength:"200" doc:"Reinforcement; left out: that of the published table."`
	Tube          string   `json:"tube,omitzero" maxLength:"200" doc:"Tube material; left out: that of the published table." example:"NBR"`
	DN            int      `json:"dn,omitzero" minimum:"0" maximum:"500" doc:"Nominal bore, DN."`
	Dash          int      `json:"dash,omitzero" minimum:"0" maximum:"320" doc:"Dash size, in sixteenths of an inch."`
	RatedBar      *float64 `json:"rated_bar,omitzero" minimum:"0" maximum:"10000" doc:"Rating of the hose, in bar. Left out: that of the published table. A lower one that is printed in the layline wins."`
	RatingSource  string   `json:"rating_source,omitzero" enum:"printed,typed,table" doc:"Where rated_bar comes from; left out: typed."`
	MaxC          *float64 `json:"max_c,omitzero" minimum:"0" maximum:"400" doc:"Highest fluid temperature, in degrees Celsius; left out: that of the published table."`
	Fluid         string   `json:"fluid,omitzero" maxLength:"200" doc:"The fluid."`
	LengthMM      *float64 `json:"length_mm,omitzero" minimum:"1" maximum:"1000000" doc:"Length, in mm."`
	EndA          string   `json:"end_a,omitzero" maxLength:"200" doc:"Kind of end A."`
	EndABar       *float64 `json:"end_a_bar,omitzero" minimum:"0" maximum:"10000" doc:"Rating of end A, in bar."`
	EndB          string   `json:"end_b,omitzero" maxLength:"200" doc:"Kind of end B."`
	EndBBar       *float64 `json:"end_b_bar,omitzero" minimum:"0" maximum:"10000" doc:"Rating of end B, in bar."`
	EndMake       string   `json:"end_make,omitzero" maxLength:"200" doc:"Maker of the ends, where it is not the hose's."`
	Made          string   `json:"made,omitzero" maxLength:"20" doc:"When the hose was made: a day, month, quarter or year." example:"3Q2024"`
	MadeText      string   `json:"made_text,omitzero" maxLength:"200" doc:"As it is printed."`
	MadeAmbiguous bool     `json:"made_ambiguous,omitzero" doc:"What is printed can be read in more than one way; made is the earliest."`
	Assembled     string   `json:"assembled,omitzero" maxLength:"20" doc:"When the assembly was made: a day, month, quarter or year." example:"2024-11"`
	AssembledText string   `json:"assembled_text,omitzero" maxLength:"200" doc:"As it is stamped."`
	Unconfirmed   bool     `json:"unconfirmed,omitzero" doc:"What hose it is was found by measuring, not by reading."`
	Note          string   `json:"note,omitzero" maxLength:"4000" doc:"A note."`
}

// Assembly is a hose with two ends.
type Assembly struct {
	ID   int64  `json:"id" doc:"Its number."`
	Code string `json:"code" doc:"Its code, unique in the register."`
	AssemblyFields
	Site           string `json:"site" doc:"The site it is at, or that keeps it."`
	Status         string `json:"status" doc:"Its status today." enum:"stop,overdue,soon,ahead,in service,in store,removed"`
	Machine        string `json:"machine,omitzero" doc:"Code of the machine it sits on; left out if it sits nowhere."`
	Position       string `json:"position,omitzero" doc:"The position it sits at."`
	Fitted         string `json:"fitted,omitzero" format:"date" doc:"The day it was fitted there."`
	ScrappedOn     string `json:"scrapped_on,omitzero" format:"date" doc:"The day it was thrown away."`
	ScrappedReason string `json:"scrapped_reason,omitzero" doc:"Why it was thrown away."`
	Version        int    `json:"version" doc:"Rises with each change."`
}

// AssemblyLine is an assembly as the list of assemblies has it.
type AssemblyLine struct {
	ID          int64    `json:"id" doc:"Its number."`
	Code        string   `json:"code" doc:"Its code."`
	Site        string   `json:"site" doc:"The site it is at, or that keeps it."`
	Machine     string   `json:"machine,omitzero" doc:"Code of the machine it sits on."`
	Position    string   `json:"position,omitzero" doc:"The position it sits at."`
	Designation string   `json:"designation,omitzero" doc:"Standard and type."`
	DN          int      `json:"dn,omitzero" doc:"Nominal bore, DN."`
	Dash        int      `json:"dash,omitzero" doc:"Dash size."`
	RatedBar    *float64 `json:"rated_bar,omitzero" doc:"Rating of the hose, in bar."`
	LengthMM    *float64 `json:"length_mm,omitzero" doc:"Length, in mm."`
	Status      string   `json:"status" doc:"Its status today."`
	ActBy       string   `json:"act_by,omitzero" format:"date" doc:"The day by which it is to be replaced."`
	Incomplete  bool     `json:"incomplete" doc:"Its date lacks a value."`
	Fittings    int      `json:"fittings" doc:"How often it was fitted."`
	Version     int      `json:"version" doc:"Rises with each change."`
}

type assembliesIn struct {
	Paging
	Site        string `query:"site" maxLength:"200" doc:"Only assemblies at this site."`
	Where       string `query:"where" enum:"fitted,in store,scrapped" doc:"Only those that are there."`
	Designation string `query:"designation" maxLength:"200" doc:"Only those of this designation."`
	DN          int    `query:"dn" minimum:"0" maximum:"500" doc:"Only those of this nominal bore."`
	Text        string `query:"text" maxLength:"200" doc:"Only those in whose texts this stands."`
}

// OfAssembly names an assembly in the path.
type OfAssembly struct {
	Assembly string `path:"assembly" doc:"Code of the assembly."`
}

type newAssemblyIn struct {
	Write
	Body NewAssembly
}

// NewAssembly is an assembly to be put in store.
type NewAssembly struct {
	Site string `json:"site" minLength:"1" maxLength:"200" doc:"The site that keeps it."`
	Code string `json:"code,omitzero" maxLength:"60" doc:"Its code; left out: the register gives one."`
	AssemblyFields
}

type changeAssemblyIn struct {
	Write
	OfAssembly
	Body struct {
		Code string `json:"code" minLength:"1" maxLength:"60" doc:"Its code."`
		AssemblyFields
		Version int `json:"version" minimum:"1" doc:"The version that was read."`
	}
}

func (a *API) assemblies() {
	const tag = "assemblies"
	listed(a, op{"listAssemblies", http.MethodGet, "/assemblies", register.RightSee, tag, "List assemblies", "By code: fitted, in store and scrapped."}, (*call).listAssemblies)
	read(a, op{"getAssembly", http.MethodGet, "/assemblies/{assembly}", register.RightSee, tag, "Get an assembly", ""}, func(k *call, in *OfAssembly) (Assembly, error) {
		sheet, err := k.assembly(in.Assembly)
		return assemblyOf(sheet), err
	})
	write(a, op{"addAssembly", http.MethodPost, "/assemblies", register.RightFit, tag, "Put an assembly in store", ""}, func(k *call, in *newAssemblyIn) (change, error) {
		var r reader
		cmd := in.Body.command(&r, "", k)
		return change{cmds: []register.Command{cmd}, names: map[string]string{"assembly_code": "code"}}, firstOf(r.err(), k.siteSeen(in.Body.Site))
	})
	write(a, op{"changeAssembly", http.MethodPut, "/assemblies/{assembly}", register.RightFit, tag, "Change an assembly", "Replaces all that is written of it; what is left out is taken away, or filled from the published table."}, (*call).changeAssembly)
}

// assembly is the sheet of an assembly the caller may see.
func (k *call) assembly(code string) (register.AssemblySheet, error) {
	return k.Store.AssemblySheet(k.ctx, k.now, code)
}

func (k *call) listAssemblies(in *assembliesIn, after string, limit int) ([]AssemblyLine, string, error) {
	page, err := k.Store.Assemblies(k.ctx, k.now, register.AssemblyFilter{
		Site: in.Site, Where: in.Where, Designation: in.Designation, DN: in.DN, Text: in.Text, After: after, Limit: limit,
	})
	return mapped(page.Lines, func(l register.AssemblyLine) AssemblyLine {
		v := l.Assembly
		return AssemblyLine{
			ID: v.ID, Code: v.Code, Site: l.Site, Machine: l.Machine, Position: l.Position, Designation: v.Designation, DN: v.DN, Dash: v.Dash,
			RatedBar: v.RatedBar, LengthMM: v.LengthMM, Status: string(l.Status), ActBy: dayText(l.ActBy), Incomplete: l.Incomplete, Fittings: l.Placements, Version: v.Version,
		}
	}), page.Next, err
}

func assemblyOf(sheet register.AssemblySheet) Assembly {
	v := sheet.Assembly
	out := Assembly{
		ID: v.ID, Code: v.Code, Site: sheet.Site.Name, Status: string(sheet.Status), ScrappedOn: dayText(v.ScrappedOn), ScrappedReason: v.ScrappedReason, Version: v.Version,
		AssemblyFields: AssemblyFields{
			Layline: v.Layline, Maker: v.Maker, Designation: v.Designation, Construction: v.Construction, Tube: v.Tube, DN: v.DN, Dash: v.Dash,
			RatedBar: v.RatedBar, RatingSource: string(v.RatingSource), MaxC: v.MaxC, Fluid: v.Fluid, LengthMM: v.LengthMM,
			EndA: v.EndA, EndABar: v.EndABar, EndB: v.EndB, EndBBar: v.EndBBar, EndMake: v.EndMake,
			Made: v.Made.String(), MadeText: v.MadeText, MadeAmbiguous: v.MadeAmbiguous, Assembled: v.Assembled.String(), AssembledText: v.AssembledText,
			Unconfirmed: v.Unconfirmed, Note: v.Note,
		},
	}
	if out.Status == "" {
		out.Status = string(life.StatusInStore)
	}
	if l := sheet.Line; l != nil {
		out.Machine, out.Position, out.Fitted = l.MachineCode, l.Position, dayText(l.Fitted)
	}
	return out
}

func (n NewAssembly) command(r *reader, at string, k *call) register.AddAssembly {
	v := register.Assembly{Code: n.Code}
	n.into(&v, r, at, k)
	return register.AddAssembly{Site: n.Site, Assembly: v}
}

// into replaces what is written of an assembly. A rating meets the one that is
// printed, and the published table fills what is left out, as on the pages.
func (f AssemblyFields) into(v *register.Assembly, r *reader, at string, k *call) {
	v.Layline, v.Maker, v.Designation, v.Construction, v.Tube, v.DN, v.Dash = f.Layline, f.Maker, f.Designation, f.Construction, f.Tube, f.DN, f.Dash
	v.MaxC, v.Fluid, v.LengthMM, v.EndA, v.EndABar, v.EndB, v.EndBBar, v.EndMake = f.MaxC, f.Fluid, f.LengthMM, f.EndA, f.EndABar, f.EndB, f.EndBBar, f.EndMake
	v.Made, v.MadeText, v.MadeAmbiguous = r.period(at+"made", f.Made), f.MadeText, f.MadeAmbiguous
	v.Assembled, v.AssembledText, v.Unconfirmed, v.Note = r.period(at+"assembled", f.Assembled), f.AssembledText, f.Unconfirmed, f.Note
	var printed *float64
	if strings.TrimSpace(f.Layline) != "" {
		printed = hose.ReadLaylineBy(f.Layline, k.today()).RatedBar
	}
	v.RatedBar, v.RatingSource = register.SettledRating(f.RatedBar, printed)
	if v.RatingSource == register.RatingTyped && f.RatingSource != "" {
		v.RatingSource = register.RatingSource(f.RatingSource)
	}
	construction := v.Construction
	v.FillFromTable()
	if construction != "" {
		v.Construction = construction
	}
}

func (k *call) changeAssembly(in *changeAssemblyIn) (change, error) {
	sheet, err := k.assembly(in.Assembly)
	if err != nil {
		return change{}, err
	}
	var r reader
	v := sheet.Assembly
	v.Code, v.Version = in.Body.Code, in.Body.Version
	in.Body.into(&v, &r, "", k)
	return change{
		cmds: []register.Command{register.ChangeAssembly{Assembly: v}},
		current: func() (any, error) {
			now, err := k.assembly(in.Assembly)
			return assemblyOf(now), err
		},
	}, r.err()
}
