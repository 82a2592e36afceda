/* What the desk takes of CodeMirror: all that its own scripts import. */
export { Annotation, Compartment, EditorSelection, EditorState, Prec, RangeSetBuilder, StateEffect, StateField, Transaction } from "@codemirror/state";
export { Decoration, EditorView, ViewPlugin, WidgetType, drawSelection, gutter, GutterMarker, highlightActiveLine, highlightSpecialChars, keymap, lineNumbers, placeholder, tooltips } from "@codemirror/view";
export { defaultKeymap, history, historyKeymap, isolateHistory, redo, undo } from "@codemirror/commands";
export { acceptCompletion, autocompletion, closeCompletion, completionKeymap, completionStatus, startCompletion } from "@codemirror/autocomplete";
export { forceLinting, lintGutter, lintKeymap, nextDiagnostic, openLintPanel, setDiagnostics } from "@codemirror/lint";
export { closeSearchPanel, highlightSelectionMatches, openSearchPanel, search, searchKeymap } from "@codemirror/search";
