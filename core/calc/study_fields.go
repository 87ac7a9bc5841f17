package calc

// StudyFields lists the fields of a row of a study, for doors that read tables;
// nil for a kind that is not known. The kinds are agreement, and what stands
// behind study- in the names of the calculations.
func StudyFields(kind string) []Field {
	switch kind {
	case "agreement":
		return FieldsOf[AgreePair]()
	case "tare":
		return FieldsOf[TareRow]()
	case "capacity":
		return FieldsOf[CapacityRow]()
	case "neck":
		return FieldsOf[NeckRow]()
	case "shake":
		return FieldsOf[ShakeRow]()
	case "delay":
		return FieldsOf[DelayRow]()
	case "line":
		return FieldsOf[LineRow]()
	case "repeatability":
		return FieldsOf[GaugeRow]()
	}
	return nil
}

// IsLabel tells that a field is a name, not a number.
func (f *Field) IsLabel() bool {
	return f.Kind == nil && (f.Name == "id" || f.Name == "lot" || f.Name == "package" || f.Name == "operator")
}
