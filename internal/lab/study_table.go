package lab

// StudyTable is a file read as rows of a study: what each column was taken for,
// the rows, and what could not be read. Nothing of it is stored.
type StudyTable struct {
	Columns []StudyColumn    `json:"columns" doc:"of the file, in its order"`
	Fields  []StudyField     `json:"fields" doc:"what a column can be"`
	Rows    []map[string]any `json:"rows" doc:"as rows of a study"`
	Lines   []int            `json:"lines" doc:"line or row in the file of each"`
	Faults  []StudyFault     `json:"faults" doc:"rows left out, and why"`
	Sheets  []string         `json:"sheets" doc:"of a workbook"`
	Sheet   string           `json:"sheet,omitempty" doc:"the one that was read"`
	Missing []string         `json:"missing" doc:"fields that every row needs and no column gives"`
	Decimal string           `json:"decimal" doc:"decimal mark of the numbers: a point or a comma"`
}

// StudyColumn is a column and what it was taken for.
type StudyColumn struct {
	Heading string `json:"heading"`
	Field   string `json:"field,omitempty" doc:"empty: not read"`
	Unit    string `json:"unit,omitempty" doc:"in which its bare numbers were read"`
	Guessed bool   `json:"guessed,omitempty" doc:"by its words; look at it"`
}

// StudyField is what a column of a study's table can hold.
type StudyField struct {
	Name     string `json:"name"`
	Unit     string `json:"unit,omitempty"`
	Required bool   `json:"required,omitempty"`
	Help     string `json:"help"`
}

// StudyFault is a row that could not be read.
type StudyFault struct {
	Line    int    `json:"line"`
	Heading string `json:"heading,omitempty"`
	Field   string `json:"field,omitempty"`
	Value   string `json:"value,omitempty"`
	Message string `json:"message"`
	Mend    string `json:"mend,omitempty"`
}
