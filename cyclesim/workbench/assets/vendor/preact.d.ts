// What the views use of preact.js, for the checker of types alone.

export interface Signal<T> { value: T }
export function signal<T>(value: T): Signal<T>;
export function computed<T>(of: () => T): { readonly value: T };
export function effect(does: () => void): () => void;
export function batch(does: () => void): void;
export function useSignal<T>(value: T): Signal<T>;
export function useComputed<T>(of: () => T): { readonly value: T };
export function useSignalEffect(does: () => void): void;
export function useEffect(does: () => void | (() => void), of?: unknown[]): void;
export function useLayoutEffect(does: () => void | (() => void), of?: unknown[]): void;
export function useErrorBoundary(): [any, () => void];
export function useMemo<T>(of: () => T, given: unknown[]): T;
export function useRef(value: unknown): { current: any };
export function useState<T>(value: T): [T, (value: T) => void];
export function html(parts: TemplateStringsArray, ...values: unknown[]): any;
export function render(what: any, into: Element): void;
export const Fragment: unknown;
