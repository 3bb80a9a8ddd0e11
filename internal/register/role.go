package register

import (
	"fmt"
	"slices"
)

// Role is what somebody is there to do, at one site or at all.
type Role string

// The roles.
const (
	Manager   Role = "manager"   // answers for the fleet: rules, people, releases
	Planner   Role = "planner"   // machines, positions, how they are worked, hoses, sheets
	Inspector Role = "inspector" // looks at hoses, surveys machines, puts right what is not as registered
	Fitter    Role = "fitter"    // builds and swaps hoses, notes what is damaged
	Viewer    Role = "viewer"    // reads
)

// Roles are the roles, the one that may most first.
func Roles() []Role { return []Role{Manager, Planner, Inspector, Fitter, Viewer} }

// Right is what a page or a change needs.
type Right string

// The rights.
const (
	RightAnyone  Right = "anyone"  // nobody need be known: static files, signing in
	RightOwn     Right = "own"     // what is one's own: units, saved lists, password
	RightSee     Right = "see"     // read
	RightNote    Right = "note"    // readings, meter events, findings
	RightInspect Right = "inspect" // the verdict sound, corrections of inspections
	RightFit     Right = "fit"     // hoses: add, change, fit, remove, scrap
	RightPlace   Right = "place"   // positions, circuits, walking order
	RightPlan    Right = "plan"    // machines, service conditions, lay-ups, sheets
	RightManage  Right = "manage"  // sites, kinds, policies, people, releases, milder classes
)

// Rights are all rights a person can be given by a role.
func Rights() []Right {
	return []Right{RightOwn, RightSee, RightNote, RightInspect, RightFit, RightPlace, RightPlan, RightManage}
}

// May reports whether a role has a right. This is the one table of who may do
// what.
func (r Role) May(need Right) bool {
	switch r {
	case Manager:
		return slices.Contains(Rights(), need)
	case Planner:
		return slices.Contains([]Right{RightOwn, RightSee, RightNote, RightFit, RightPlace, RightPlan}, need)
	case Inspector:
		return slices.Contains([]Right{RightOwn, RightSee, RightNote, RightInspect, RightFit, RightPlace}, need)
	case Fitter:
		return slices.Contains([]Right{RightOwn, RightSee, RightNote, RightFit}, need)
	case Viewer:
		return slices.Contains([]Right{RightOwn, RightSee}, need)
	}
	return false
}

// PersonRole gives a person a role at a site, or at all sites and whatever
// belongs to none, such as kinds and policies.
type PersonRole struct {
	ID       int64
	PersonID int64
	SiteID   *int64 // nil: all sites
	Role     Role
}

// PersonRoles are what one person may do.
type PersonRoles []PersonRole

// At reports whether they give a right at a site; site 0 is all sites.
func (p PersonRoles) At(siteID int64, need Right) bool {
	return slices.ContainsFunc(p, func(r PersonRole) bool {
		return r.Role.May(need) && (r.SiteID == nil || *r.SiteID == siteID)
	})
}

// Anywhere reports whether they give a right at some site.
func (p PersonRoles) Anywhere(need Right) bool {
	return slices.ContainsFunc(p, func(r PersonRole) bool { return r.Role.May(need) })
}

// Everywhere reports whether they give a right at all sites.
func (p PersonRoles) Everywhere(need Right) bool { return p.At(0, need) }

// Scope is where they give a right.
func (p PersonRoles) Scope(need Right) Scope {
	s := Scope{All: p.Everywhere(need)}
	for _, r := range p {
		if !s.All && r.SiteID != nil && r.Role.May(need) && !slices.Contains(s.Sites, *r.SiteID) {
			s.Sites = append(s.Sites, *r.SiteID)
		}
	}
	slices.Sort(s.Sites)
	return s
}

// Scope is the sites something is restricted to: all of them, or the named
// ones. Its zero value holds none.
type Scope struct {
	All   bool
	Sites []int64 // in order, each once; none where All
}

// AllSites is the scope that restricts nothing.
func AllSites() Scope { return Scope{All: true} }

// Holds reports whether a site is in the scope.
func (s Scope) Holds(siteID int64) bool { return s.All || slices.Contains(s.Sites, siteID) }

// RightFor is the right a command needs at the site of whatever it changes,
// before anything is known of that. Changes that make something milder need
// more, which is decided where both versions are known; see MilderChange. An
// unknown command needs RightManage.
func RightFor(c Command) Right {
	switch c := c.(type) {
	case SetUnits, SaveList, ForgetList, ChoosePassword, SignOutEverywhere, EnrolDevice, EndDevice:
		return RightOwn
	case AddReading, AddMeterEvent, ChangeReading, ChangeMeterEvent, ChangeFinding:
		return RightNote
	case CloseFinding:
		if c.How == ClosedByRelease {
			return RightManage
		}
		return RightNote
	case Inspect:
		if len(c.Findings) == 0 {
			return RightInspect
		}
		return RightNote
	case ChangeInspection:
		return RightInspect
	case Fit:
		if c.ReleasedBy != "" {
			return RightManage
		}
		return RightFit
	case AddAssembly, ChangeAssembly, Remove, Scrap, ChangePlacement:
		return RightFit
	case AddPosition, ChangePosition, CopyPositions, OrderPositions, AddCircuit, ChangeCircuit:
		return RightPlace
	case AddMachine, ChangeMachine, RetireMachine, RetirePosition, AddLayUp, ChangeLayUp, SetConditions, SetConditionsAt, ChangeConditions,
		ChangePositions, ChangeMachines:
		return RightPlan
	case TakeBack:
		return c.What.Right()
	}
	return RightManage // AddSite, ChangeSite, kinds, duties, policies
}

// Right is what taking a thing back needs. Taking back what an inspection saw
// makes a hose look better than it did, which is a manager's.
func (t Thing) Right() Right {
	switch t {
	case ThingReading, ThingMeterEvent:
		return RightNote
	case ThingAssembly, ThingPlacement, ThingRemoval:
		return RightFit
	case ThingPosition, ThingCircuit:
		return RightPlace
	case ThingMachine, ThingLayUp, ThingConditions:
		return RightPlan
	}
	return RightManage
}

// UndoRight is what undoing a change of a row of that table needs: what making
// it needed. Whoever noted a finding may undo that within register.UndoWithin.
func UndoRight(entity string) Right {
	switch t := Thing(entity); t {
	case ThingInspection, ThingFinding:
		return RightNote
	case "kinds": // came along with a machine
		return RightPlan
	default:
		return t.Right()
	}
}

// ForbiddenSentence says that a right is lacking at a site, or at all sites
// where site is empty, and who has it.
func ForbiddenSentence(need Right, site string) string {
	where := "all sites"
	if site != "" {
		where = site
	}
	for i := len(Roles()) - 1; i >= 0; i-- {
		if r := Roles()[i]; r.May(need) {
			return fmt.Sprintf("You may not do this: it needs the role %s at %s, or one that may more. Ask a manager.", r, where)
		}
	}
	return "Nobody may do this."
}
