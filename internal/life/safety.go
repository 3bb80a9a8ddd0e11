package life

// The safety lines that always show.
const (
	SafetyEstimate  = "A due date never replaces inspection, the maker's instructions, local rules or a competent person's judgement."
	SafetyVisible   = "Visible damage beats any calculated remaining life."
	SafetyHidden    = "A hose can fail without visible signs: its inside cannot be seen."
	SafetySkin      = "Fluid under pressure can pierce skin: never feel for a leak by hand."
	SafetyPressure  = "Before touching a hose, depressurise, lower loads, lock out and discharge accumulators."
	SafetyInjection = "An injection under the skin is a surgical emergency, however small it looks: go to hospital at once and say which fluid."
	SafetyTrained   = "Crimping and pressure testing belong to trained people with the proper machine."
)

// SafetyLines are the safety lines in the order they show in.
func SafetyLines() []string {
	return []string{SafetyEstimate, SafetyVisible, SafetyHidden, SafetySkin, SafetyPressure, SafetyInjection, SafetyTrained}
}
