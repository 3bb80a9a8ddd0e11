package life

// FindingKind is a kind of finding of the catalogue.
type FindingKind struct {
	Number int // 1 to 26, never reused
	// Sentence says what is seen, in our own words.
	Sentence string
	// Class is the suggested class, the strictest where more than one is.
	Class Class
	// Hint says when a milder or other action is meant; empty if there is
	// nothing to say.
	Hint   string
	Source string
}

const (
	sourceBoth   = "SAE J1273 and the DGUV / DIN 20066 list (" + SourceSeen + ")"
	sourceJ1273  = "SAE J1273 (" + SourceSeen + ")"
	sourceGerman = "DGUV / DIN 20066 list (" + SourceSeen + ")"
)

// FindingKinds is the catalogue of findings: what may be seen at an assembly,
// with the class suggested for it. An inspector may make a class stricter,
// only a manager milder.
func FindingKinds() []FindingKind {
	return []FindingKind{
		{1, "Leak at hose or fitting, a wet spot, or oil sweating through the cover.", Stop, "", sourceBoth},
		{2, "Cover damaged down to the reinforcement; wire visible, broken or rusty.", Stop, "", sourceBoth},
		{3, "Cover scuffed, reinforcement not reached.", Replace, "Guard or reroute it at once; read strictly, J1273 stops it.", sourceJ1273},
		{4, "Fitting slips, or the hose creeps out of it.", Stop, "", sourceBoth},
		{5, "Kinked, crushed, flattened or squeezed.", Stop, "", sourceBoth},
		{6, "Twisted: the printed line runs in a spiral.", Stop, "If it springs back when loosened, refit it straight at once.", sourceBoth},
		{7, "Blister, bubble, soft or loose cover, or layers that separate.", Stop, "", sourceBoth},
		{8, "Hard, stiff, cracked by heat or charred.", Stop, "", sourceBoth},
		{9, "Fitting cracked, damaged, deformed, or its sealing affected.", Stop, "Small marks on its surface are no reason.", sourceBoth},
		{10, "Fitting so corroded that its strength or function suffers.", Stop, "Light rust: plan to replace it.", sourceBoth},
		{11, "Unusual noise, smell or heat.", Stop, "Until it is explained.", sourceJ1273},
		{12, "Older than its limit of service or storage.", Replace, "Once overdue, sites may stop it.", sourceBoth},
		{13, "Bent tighter than its least radius, led over an edge, or not straight long enough behind the fitting.", Replace, "Reroute it at once; replace it if the bend stays.", sourceBoth},
		{14, "Too short or pulled tight; no slack for its change of length.", Replace, "Correct the routing or the length.", sourceBoth},
		{15, "Clamp loose, missing or wrong; guard, sleeve or shield missing.", Correct, "", sourceBoth},
		{16, "Leak at a port connection.", Correct, "Depressurise first.", sourceJ1273},
		{17, "So dirty that the hose cannot be seen.", Correct, "Clean it, then inspect it.", sourceJ1273},
		{18, "Fluid level low, wrong fluid, or air in the fluid.", Correct, "", sourceJ1273},
		{19, "Marking missing or unreadable.", Replace, "Correct it if hose and assembly are known for certain.", sourceGerman},
		{20, "Type, bore or pressure of the hose not as in circuit diagram or parts list.", Stop, "", sourceGerman},
		{21, "Hose used before, re-ended, repaired, taped, or its cover painted.", Stop, "Paint that only hides the marking: plan to replace it.", "DGUV / DIN 20066 list (" + SourceSeen + "); paint " + SourceMemory},
		{22, "No protection against whip or spray where people are near.", Correct, "", sourceGerman},
		{23, "Touches a hot part, or a heat shield is missing.", Correct, "", sourceBoth},
		{24, "Pressure measured above the rating, or spikes.", Stop, "Until it is assessed; inspect it out of turn.", sourceGerman},
		{25, "Driven over without a hose bridge, or a loose hose without guide.", Correct, "", sourceGerman},
		{26, "Accumulator, depressurising device or signs missing.", Correct, "", sourceGerman},
	}
}
