import { register } from '../views'

register({ id: 'numbers', title: 'Numbers', load: () => import('./view').then((m) => m.NumbersView), order: 50, wide: true })
