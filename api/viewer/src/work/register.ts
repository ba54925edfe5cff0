import { register } from '../views'

register({ id: 'work', title: 'Work', load: () => import('./view').then((m) => m.WorkView), order: 20, wide: true })
