package match

// InOrder tells, decision by decision, whether it keeps the order in which both
// devices numbered their recordings against all others between the two.
func InOrder(ds []Decision, clips, sounds []Party) []bool {
	out := make([]bool, len(ds))
	for i := range ds {
		out[i] = agrees(ds[i].Link, ds, i, clips, sounds)
	}
	return out
}
