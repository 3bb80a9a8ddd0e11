package store

import (
	"reflect"

	"hoseward/internal/register"
)

// siteFor is the site of a row: the named one, added if the register lacks it;
// without a name the only one there is for whoever brings the file.
func (im *importer) siteFor(name string, as *register.MachineRow) (*register.Site, error) {
	t := im.t
	if as == nil {
		as = &register.MachineRow{}
	}
	if name == "" {
		have, err := t.sitesSeen(2)
		switch {
		case err != nil:
			return nil, err
		case len(have) == 1:
			return &have[0], nil
		case im.opts.Site != "":
			name = im.opts.Site
		case len(have) == 0:
			name = firstSite
		default:
			return nil, refuse(register.Invalid, "site", "The register has several sites and the row names none; name the site.")
		}
	}
	site, err := t.site(name)
	if !isCode(err, register.NotFound) {
		return site, err
	}
	if err := im.policyOrNew(as.SitePolicy, as.SitePolicyLimits); err != nil {
		return nil, err
	}
	if err := t.apply(register.AddSite{Name: name, Zone: orElse(as.SiteZone, orElse(im.opts.Zone, "UTC")), Policy: as.SitePolicy}); err != nil {
		return nil, err
	}
	im.adds("site %s", name)
	return t.site(name)
}

// policyOrNew adds a policy that the register lacks where the row says its
// limits.
func (im *importer) policyOrNew(name string, limits *register.Policy) error {
	if name == "" || limits == nil {
		return nil
	}
	if _, err := im.t.policy(name); !isCode(err, register.NotFound) {
		return err
	}
	p := *limits
	p.Name = name
	im.adds("policy %s", name)
	return im.t.apply(register.AddPolicy{Policy: p})
}

func (im *importer) machineRow(r *register.MachineRow) error {
	if err := im.machineItself(r); err != nil {
		return err
	}
	return im.saidOnMachine(r)
}

func (im *importer) machineItself(r *register.MachineRow) error {
	t := im.t
	if r.Code == "" {
		return refuse(register.Invalid, "code", "The row names no machine.")
	}
	earlier := im.seen.note("machine", r.Code)
	m, err := t.machine(r.Code)
	if isCode(err, register.NotFound) {
		site, err := im.siteFor(r.Site, r)
		if err != nil {
			return err
		}
		im.adds("machine %s", r.Code)
		return t.apply(register.AddMachine{
			Site: site.Name, Kind: r.Kind, Code: r.Code, Name: r.Name, Serial: r.Serial,
			PlannedHoursPerWeek: r.PlannedHoursPerWeek, CanHurt: r.CanHurt != nil && *r.CanHurt, Note: r.Note,
		})
	}
	if err != nil {
		return err
	}
	row := *m
	if r.Site != "" {
		site, err := im.siteFor(r.Site, r)
		if err != nil {
			return err
		}
		row.SiteID = site.ID
	}
	if r.Kind != "" {
		kind, err := t.kind(r.Kind)
		if err != nil {
			return err
		}
		row.KindID = &kind.ID
	}
	setText(&row.Name, r.Name)
	setText(&row.Serial, r.Serial)
	setText(&row.Note, r.Note)
	setValue(&row.PlannedHoursPerWeek, r.PlannedHoursPerWeek)
	setPlain(&row.CanHurt, r.CanHurt)
	if reflect.DeepEqual(row, *m) {
		return nil
	}
	if earlier > 0 {
		return im.contradicts(earlier, "machine "+r.Code, *m, row)
	}
	im.changes("machine %s", r.Code)
	return t.apply(register.ChangeMachine{Machine: row})
}

func setText(to *string, s string) {
	if s != "" {
		*to = s
	}
}

func setValue[T any](to **T, v *T) {
	if v != nil {
		*to = v
	}
}

func setPlain[T any](to, v *T) {
	if v != nil {
		*to = *v
	}
}

// machineOf is the machine a row of hoses or readings names. A row of hoses
// may add it; of one that is known only what the register lacks is filled in.
func (im *importer) machineOf(h *register.HoseRow) (*register.Machine, error) {
	t := im.t
	m, err := t.machine(h.Machine)
	if isCode(err, register.NotFound) {
		site, err := im.siteFor(h.Site, nil)
		if err != nil {
			return nil, err
		}
		im.adds("machine %s", h.Machine)
		if err := t.apply(register.AddMachine{Site: site.Name, Kind: h.Kind, Code: h.Machine, Name: h.MachineName}); err != nil {
			return nil, err
		}
		return t.machine(h.Machine)
	}
	if err != nil {
		return nil, err
	}
	row := *m
	if h.MachineName != "" && row.Name == "" {
		row.Name = h.MachineName
	}
	if h.Kind != "" && row.KindID == nil {
		kind, err := t.kind(h.Kind)
		if err != nil {
			return nil, err
		}
		row.KindID = &kind.ID
	}
	if h.Site != "" {
		if have, err := sites.one(t.ctx, t.conn, "id = ?", m.SiteID); err != nil {
			return nil, err
		} else if have != nil && fold(have.Name) != fold(h.Site) {
			im.tell("site", "the register has machine %s at %s; it stays there, a list of machines can move it", m.Code, have.Name)
		}
	}
	if reflect.DeepEqual(row, *m) {
		return m, nil
	}
	im.changes("machine %s", h.Machine)
	if err := t.apply(register.ChangeMachine{Machine: row}); err != nil {
		return nil, err
	}
	return t.machine(h.Machine)
}
