// What the views use of editor.js, for the checker of types alone.

export const EditorState: any;
export const EditorView: any;
export const HighlightStyle: any;
export const defaultKeymap: any[];
export const historyKeymap: any[];
export const searchKeymap: any[];
export const keymap: any;
export const tags: any;
export function drawSelection(): any;
export function highlightActiveLine(): any;
export function history(): any;
export function lineNumbers(): any;
export function search(options: object): any;
export function syntaxHighlighting(style: unknown): any;
export function yaml(): any;
